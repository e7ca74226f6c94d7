package drift

var DBG = ""
