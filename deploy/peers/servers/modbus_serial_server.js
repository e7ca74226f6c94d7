// Serve registers.txt by the npm package modbus-serial: node server.js FILE.
// Prints "ready PORT" once a client may ask.
"use strict";

const fs = require("fs");
const ModbusRTU = require("modbus-serial");

const registers = new Map(); // "unit/table/address" -> word
for (const line of fs.readFileSync(process.argv[2], "utf8").split("\n")) {
    const fields = line.split("#")[0].trim().split(/\s+/);
    if (fields.length < 4) continue;
    const [unit, table, address] = fields.slice(0, 3).map(Number);
    fields.slice(3).forEach((word, i) => {
        registers.set(`${unit}/${table}/${address + i}`, parseInt(word, 16));
    });
}

// get answers one register, or exception 2 (illegal data address).
function get(table) {
    return (address, unit, answer) => {
        const word = registers.get(`${unit}/${table}/${address}`);
        answer(word === undefined ? { modbusErrorCode: 2 } : null, word);
    };
}

const server = new ModbusRTU.ServerTCP(
    { getHoldingRegister: get(3), getInputRegister: get(4) },
    { host: "127.0.0.1", port: "0", unitID: 255 }, // "0": any free port (the number 0 means 502); 255: every unit
);
server.on("initialized", () => console.log("ready", server._server.address().port));
