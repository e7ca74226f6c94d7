package web

// frame is what one reader's page shows at one moment: parts whose form seldom
// changes (blocks of HTML), and the texts in them that move with every poll. The
// difference of two frames is one event of the stream.
//
// A key of texts and at is "block.name", so that a block that is sent anew need
// not have its texts sent beside it.
type frame struct {
	order  []string // of blocks, outer ones first
	blocks map[string]block
	texts  map[string]string
	at     map[string]int64 // times of values, seconds since 1970
}

// block is one element of the page, by its id. It is sent anew when shape (a
// comparable value) changes, or when the block around it is.
type block struct {
	within string
	shape  any
	html   func() string
}

func newFrame() *frame {
	return &frame{blocks: map[string]block{}, texts: map[string]string{}, at: map[string]int64{}}
}

func (f *frame) block(id, within string, shape any, html func() string) {
	f.order = append(f.order, id)
	f.blocks[id] = block{within, shape, html}
}

// update is the data of one stream event.
type update struct {
	NowMS  int64             `json:"now_ms"`
	Blocks map[string]string `json:"blocks,omitempty"`
	Texts  map[string]string `json:"texts,omitempty"`
	AtS    map[string]int64  `json:"at_s,omitempty"`
}

// since returns what turns prev into f; prev nil = everything.
func (f *frame) since(prev *frame, nowMS int64) update {
	u := update{NowMS: nowMS, Blocks: map[string]string{}, Texts: map[string]string{}, AtS: map[string]int64{}}
	fresh := map[string]bool{}
	for _, id := range f.order {
		b := f.blocks[id]
		if fresh[b.within] {
			fresh[id] = true
			continue
		}
		if prev == nil || prev.blocks[id].html == nil || prev.blocks[id].shape != b.shape {
			fresh[id] = true
			u.Blocks[id] = b.html()
		}
	}
	for k, t := range f.texts {
		if !fresh[blockOf(k)] && (prev == nil || prev.texts[k] != t) {
			u.Texts[k] = t
		}
	}
	for k, t := range f.at {
		if !fresh[blockOf(k)] && (prev == nil || prev.at[k] != t) {
			u.AtS[k] = t
		}
	}
	return u
}

func blockOf(key string) string {
	for i := range len(key) {
		if key[i] == '.' {
			return key[:i]
		}
	}
	return key
}
