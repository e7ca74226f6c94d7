// The pages work without this script. It keeps them live: one event stream,
// whose every event says what changed, and says clearly when it is cut off.

const STREAM_DEAD_MS = 5000; // the daemon sends an event a second, changed or not
const RETRY_MS = 2000;
const body = document.body;
const $ = (id) => document.getElementById(id);

// ---- time: the daemon's clock, carried on by this computer's

const clock = {at: Number(body.dataset.now), since: Date.now()};
const now = () => clock.at + (Date.now() - clock.since);
const setClock = (ms) => { clock.at = ms; clock.since = Date.now(); };
const hms = (ms) => new Date(ms).toISOString().slice(11, 19) + " UTC";

function span(s) {
  if (s < 1) return "0 s";
  if (s < 120) return Math.floor(s) + " s";
  if (s < 7200) return Math.floor(s / 60) + " min";
  if (s < 172800) return Math.floor(s / 3600) + " h";
  return Math.floor(s / 86400) + " d";
}

// ---- stream

let source = null, lastEvent = Date.now(), retry = 0, gone = false;
let query = location.search;
const keyed = new Map();

function index() {
  keyed.clear();
  for (const el of document.querySelectorAll("[data-k]")) keyed.set(el.dataset.k, el);
}

function open() {
  close();
  if (gone || !body.dataset.stream) return;
  source = new EventSource(body.dataset.stream.split("?")[0] + (body.dataset.stream.startsWith("/stream/") ? "" : query));
  const mine = source;
  source.addEventListener("update", (e) => mine === source && apply(JSON.parse(e.data)));
  source.addEventListener("gone", () => { gone = true; close(); tick(); });
  source.onerror = () => {
    if (mine === source && source.readyState === EventSource.CLOSED) retry = setTimeout(open, RETRY_MS + Math.random() * RETRY_MS);
  };
}

function close() {
  clearTimeout(retry);
  if (source) source.close();
  source = null;
}

function apply(u) {
  lastEvent = Date.now();
  setClock(u.now_ms);
  const blocks = Object.entries(u.blocks || {});
  for (const [id, html] of blocks) replace(id, html);
  if (blocks.length) index();
  for (const [key, text] of Object.entries(u.texts || {})) put(keyed.get(key), text);
  for (const [key, at] of Object.entries(u.at_s || {})) {
    const el = keyed.get(key);
    if (el) { el.dataset.at = at; el.dateTime = new Date(at * 1000).toISOString(); }
  }
  tick();
}

function put(el, text) {
  if (!el) return;
  if (el.tagName === "rect") el.setAttribute("width", text);
  else if (el.textContent !== text) el.textContent = text;
}

// replace puts new HTML in place of an element, and the focus back where it was.
// Nothing is taken from under a finger that is pressing it: a click would be lost.
// When the finger lifts, the stream begins anew with everything.
let skipped = false;
function replace(id, html) {
  const old = $(id);
  if (!old) return;
  if (old.matches(":active")) { skipped = true; return; }
  const held = old.contains(document.activeElement) ? document.activeElement.getAttribute("href") : null;
  const t = document.createElement("template");
  t.innerHTML = html;
  const fresh = t.content.firstElementChild;
  old.replaceWith(t.content);
  if (held && fresh) [...fresh.querySelectorAll("a")].find((a) => a.getAttribute("href") === held)?.focus();
}

for (const lift of ["pointerup", "pointercancel"]) {
  document.addEventListener(lift, () => setTimeout(() => {
    if (skipped) open();
    skipped = false;
  }));
}

// ---- once a second: ages, what has become stale, and whether we are cut off

function tick() {
  const silent = Date.now() - lastEvent, cut = gone || silent > STREAM_DEAD_MS;
  body.classList.toggle("is-cut", cut);
  const bar = $("cut");
  if (cut) {
    const text = gone ? "This loop is no longer in the plant. What is shown is its last state."
      : `Not live: nothing heard from the daemon since ${hms(now() - silent)}. Every value below is old. Trying again.`;
    if (bar.textContent !== text) bar.textContent = text;
  }
  bar.hidden = !cut;
  $("live").dataset.state = cut ? "cut" : "live";
  $("live-word").textContent = cut ? "not live" : "live";
  $("clock").textContent = hms(now());
  for (const el of document.querySelectorAll("time[data-at]")) age(el);
}

function age(el) {
  const s = now() / 1000 - Number(el.dataset.at);
  const text = span(s) + " ago";
  if (el.textContent !== text) el.textContent = text;
  if (!el.dataset.stale) return;
  const box = el.closest("[data-live]"), old = s > Number(el.dataset.stale), q = box.querySelector(".q");
  box.classList.toggle("old", old);
  const word = old && (q.dataset.q === "good" || q.dataset.q === "late") ? "stale" : q.dataset.q;
  if (q.textContent !== word) q.textContent = word;
}

// A hidden page needs no stream; a browser has few connections to give.
document.addEventListener("visibilitychange", () => {
  if (document.hidden) close(); else { open(); tick(); }
});

// ---- the table: sort, filter and page through the stream while it lives

function show(search) {
  query = search;
  history.replaceState(null, "", location.pathname + search);
  open();
}

function startTable(form) {
  document.addEventListener("click", (e) => {
    const a = e.target.closest("a[data-view]");
    if (!a || body.classList.contains("is-cut") || e.ctrlKey || e.metaKey || e.shiftKey || e.button) return;
    e.preventDefault();
    show(new URL(a.href).search);
  });
  let wait = 0;
  const filter = () => {
    const p = new URLSearchParams(query);
    for (const name of ["q", "area"]) {
      if (form.elements[name].value) p.set(name, form.elements[name].value); else p.delete(name);
    }
    p.delete("page");
    show(p.size ? "?" + p : "");
  };
  form.addEventListener("input", () => { clearTimeout(wait); wait = setTimeout(filter, 150); });
  form.addEventListener("submit", (e) => {
    if (body.classList.contains("is-cut")) return;
    e.preventDefault();
    filter();
  });
}

// ---- the trend of one loop

const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const seconds = (iso) => iso ? Date.parse(iso) / 1000 : null;
const fixed = (x, d) => x == null ? "–" : x.toFixed(d).replace(/^-(0\.?0*)$/, "$1").replace("-", "\u2212");
const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
// The year stands only where it is not that of now, as everywhere on the page.
const dateText = (s, year = new Date(now()).getUTCFullYear()) => {
  const d = new Date(s * 1000), y = d.getUTCFullYear();
  return `${d.getUTCDate()} ${MONTHS[d.getUTCMonth()]}${y === year ? "" : " " + y}`;
};

class Trend {
  constructor(el) {
    this.el = el;
    this.d = el.dataset;
    this.colour = this.d.state === "good" ? css("--ink") : css("--" + this.d.state);
    this.bad = this.d.bad ? this.d.bad.split(" ") : [];
    this.plots = [];
    this.range = {span: 0};
    for (const b of el.querySelectorAll("[data-span]")) b.addEventListener("click", () => this.pick(b));
    $("trend-values").addEventListener("toggle", () => this.table());
    new ResizeObserver(() => this.resize()).observe($("plot-error"));
    setInterval(() => { if (!document.hidden && !this.range.from) this.load(); }, 60000);
    this.load();
  }

  pick(button) {
    for (const b of this.el.querySelectorAll("[data-span]")) b.setAttribute("aria-pressed", b === button);
    this.range = {span: Number(button.dataset.span)};
    this.load();
  }

  zoom(from, to) {
    for (const b of this.el.querySelectorAll("[data-span]")) b.setAttribute("aria-pressed", "false");
    this.range = {from, to};
    this.load();
  }

  address(width) {
    const p = new URLSearchParams({width});
    const iso = (s) => new Date(Math.floor(s) * 1000).toISOString().slice(0, 19) + "Z";
    if (this.range.from) { p.set("from", iso(this.range.from)); p.set("to", iso(this.range.to)); }
    else if (this.range.span) p.set("from", iso(now() / 1000 - this.range.span));
    return this.d.address + "?" + p;
  }

  async load() {
    const note = $("trend-note");
    if (!this.data) note.textContent = "The trend is being read.";
    try {
      const r = await fetch(this.address(Math.min(2000, Math.max(100, Math.round($("plot-error").clientWidth)))));
      if (!r.ok) throw new Error((await r.json()).detail);
      this.data = await r.json();
    } catch (e) {
      note.textContent = "The trend could not be read: " + e.message;
      return;
    }
    note.textContent = this.note();
    this.draw();
    this.table();
  }

  note() {
    if (!this.data.time_s.length) return "Nothing is recorded in this span.";
    const rec = seconds(this.data.recorded_until);
    const how = "Lines are means, the pale band runs from the smallest to the largest value. Drag across a plot to look closer.";
    return rec && rec > seconds(this.data.from) ? `Values before ${dateText(rec)} are a recorded past, replayed; later ones were polled live. ${how}` : how;
  }

  draw() {
    for (const p of this.plots) p.destroy();
    this.plots = [];
    const t = this.data.time_s;
    if (!t.length) return;
    const rec = seconds(this.data.recorded_until), high = parseFloat(this.d.high), low = parseFloat(this.d.low);
    const limits = [];
    if (!isNaN(high)) limits.push([high, "limit +" + fixed(high, 2)]);
    if (!isNaN(low)) limits.push([low, "limit " + fixed(low, 2)]);
    this.plots.push(this.plot($("plot-error"), this.lines(t, [["", this.data.error_degC, true]]), limits, rec, 2, 280));
    const names = Object.keys(this.data.contact_ohm);
    if (names.length) {
      const series = names.map((n) => [n, this.data.contact_ohm[n], this.bad.includes(n)]);
      this.plots.push(this.plot($("plot-contact"), this.lines(t, series), [], rec, 3, 200));
    } else $("plot-contact").textContent = "No contact resistance is known in this span.";
  }

  // lines splits each marked series at the onset: grey while sound, coloured after.
  lines(t, named) {
    const since = seconds(this.d.since), grey = css("--line"), out = {data: [t], series: [{}], bands: [], ends: []};
    const quiet = {width: 0, stroke: "transparent", points: {show: false}};
    for (const [name, band, marked] of named) {
      const hot = marked && since && this.bad.length + (name ? 0 : 1) > 0 && this.d.state !== "good";
      const before = hot ? band.mean.map((v, i) => t[i] <= since ? v : null) : band.mean;
      out.data.push(before);
      out.series.push({stroke: grey, width: 1.6, points: {show: false}});
      if (hot) {
        out.data.push(band.mean.map((v, i) => t[i] > since ? v : null));
        out.series.push({stroke: this.colour, width: 2.4, points: {show: false}});
      }
      out.data.push(band.max, band.min);
      out.series.push(quiet, quiet);
      const n = out.series.length;
      out.bands.push({series: [n - 2, n - 1], fill: hot ? this.colour + "26" : "#6b737826"});
      if (name) out.ends.push([name, band.mean, hot]);
    }
    return out;
  }

  plot(el, lines, limits, rec, digits, height) {
    el.textContent = "";
    const font = "13px " + getComputedStyle(body).fontFamily, ink2 = css("--ink2"), hair = css("--hair");
    const axis = (o) => ({stroke: ink2, font, grid: {stroke: hair, width: 1}, ticks: {stroke: hair, width: 1}, ...o});
    const t = lines.data[0], p50 = seconds(this.d.p50), p90 = seconds(this.d.p90) || p50;
    let to = t[t.length - 1];
    if (p50 && !this.range.from && this.range.span === 0) to += Math.min((p90 - to) * 1.15, (to - t[0]) * 0.8);
    return new uPlot({
      width: el.clientWidth, height, legend: {show: false}, padding: [10, 26, 0, 0],
      tzDate: (s) => uPlot.tzDate(new Date(s * 1000), "Etc/UTC"),
      cursor: {sync: {key: "loop"}, drag: {x: true, y: false, setScale: false}, points: {show: false}},
      scales: {x: {time: true, range: () => [t[0], Math.max(to, t[0] + 1)]}, y: {range: (u, lo, hi) => this.yRange(lo, hi, limits, digits)}},
      axes: [axis({space: 80, values: (u, v, i, s, step) => v.map((x) => step < 86400 ? hms(x * 1000).slice(0, 5) : dateText(x))}), axis({size: 62, values: (u, v) => v.map((x) => fixed(x, digits))})],
      series: lines.series, bands: lines.bands,
      hooks: {
        draw: [(u) => this.decorate(u, lines, limits, rec)],
        setSelect: [(u) => { if (u.select.width > 8) this.zoom(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x")); }],
      },
    }, lines.data, el);
  }

  yRange(lo, hi, limits, digits) {
    const least = digits === 2 ? 0.05 : 0.01;
    const all = [lo ?? 0, hi ?? 0, ...limits.map((l) => l[0])];
    let a = Math.min(...all), b = Math.max(...all);
    if (b - a < least) { a -= least / 2; b += least / 2; }
    return [a - (b - a) * (limits.length ? 0.18 : 0.08), b + (b - a) * 0.2];
  }

  decorate(u, lines, limits, rec) {
    const c = u.ctx, r = devicePixelRatio, {left: L, top: T, width: W, height: H} = u.bbox;
    const x = (v) => u.valToPos(v, "x", true), y = (v) => u.valToPos(v, "y", true);
    const text = (s, px, py, colour, align) => { c.fillStyle = colour; c.textAlign = align; c.fillText(s, px, py); };
    const line = (x1, y1, x2, y2, colour, width, dash) => {
      c.strokeStyle = colour; c.lineWidth = width * r; c.setLineDash((dash || []).map((k) => k * r));
      c.beginPath(); c.moveTo(x1, y1); c.lineTo(x2, y2); c.stroke(); c.setLineDash([]);
    };
    c.save();
    c.font = `${13 * r}px ${getComputedStyle(body).fontFamily}`;
    const ink = css("--ink"), ink2 = css("--ink2");
    if (rec && x(rec) > L) {
      const end = Math.min(x(rec), L + W);
      line(L, T + 1.5 * r, end, T + 1.5 * r, css("--line"), 3, [8, 5]);
      text("recorded", L + 6 * r, T + 18 * r, ink2, "left");
      if (end < L + W) line(end, T, end, T + H, css("--line"), 1, [3, 3]);
    }
    const outside = limits.length === 2 && Math.abs(y(limits[0][0]) - y(limits[1][0])) < 42 * r; // no room between them
    for (const [v, label] of limits) {
      line(L, y(v), L + W, y(v), ink, 1.5);
      text(label, L + W - 4 * r, y(v) + ((v > 0) !== outside ? 16 : -6) * r, ink, "right");
    }
    const since = seconds(this.d.since);
    if (since && x(since) > L && x(since) < L + W) {
      line(x(since), T, x(since), T + H, this.colour, 1, [2, 3]);
      const left = x(since) > L + W - 110 * r;
      text("since " + dateText(since), x(since) + (left ? -5 : 5) * r, T + 18 * r, this.colour, left ? "right" : "left");
    }
    if (limits.length) this.forecast(u, limits, x, y, line, text);
    this.endLabels(u, lines, x, y, text);
    c.restore();
  }

  // forecast draws when the limit is met: a bar from the early to the late date
  // on the limit itself, with a mark at the middle one.
  forecast(u, limits, x, y, line, text) {
    const p50 = seconds(this.d.p50), e = this.data.error_degC.mean.findLast((v) => v != null) ?? 0;
    const limit = limits.find((l) => Math.sign(l[0]) === Math.sign(e));
    if (!p50 || !limit) return;
    const r = devicePixelRatio, edge = u.bbox.left + u.bbox.width, py = y(limit[0]);
    const a = x(seconds(this.d.p10) || p50), b = Math.min(x(seconds(this.d.p90) || p50), edge), m = x(p50);
    if (m > edge || m < u.bbox.left) return;
    line(Math.max(a, u.bbox.left), py, b, py, this.colour, 7);
    line(m, py - 11 * r, m, py + 11 * r, this.colour, 3);
    text("about " + dateText(p50), m > edge - 90 * r ? edge - 4 * r : m, py + (limit[0] > 0 ? -14 : 25) * r, this.colour, m > edge - 90 * r ? "right" : "center");
  }

  // endLabels names each line at its end; names that would overlap share a place.
  endLabels(u, lines, x, y, text) {
    const places = [], r = devicePixelRatio;
    for (const [name, values, hot] of lines.ends) {
      const i = values.findLastIndex((v) => v != null);
      if (i < 0) continue;
      const py = y(values[i]), near = places.find((p) => Math.abs(p.py - py) < 14 * r && p.hot === hot);
      if (near) near.names.push(name); else places.push({py, hot, names: [name], px: x(lines.data[0][i])});
    }
    for (const p of places) text(p.names.join(", "), p.px - 4 * r, p.py - 7 * r, p.hot ? this.colour : css("--ink2"), "right");
  }

  resize() {
    for (const p of this.plots) {
      const w = p.root.parentElement.clientWidth;
      if (w && w !== p.width) p.setSize({width: w, height: p.height});
    }
  }

  async table() {
    if (!$("trend-values").open) return;
    const r = await fetch(this.address(30));
    if (!r.ok) return;
    const d = await r.json(), names = Object.keys(d.contact_ohm), table = $("trend-values").querySelector("table");
    const row = (cells, tag) => {
      const tr = document.createElement("tr");
      cells.forEach((text, i) => {
        const c = document.createElement(i ? tag : "th");
        c.textContent = text;
        c.scope = tag === "th" ? "col" : "row";
        if (i) c.className = "n";
        tr.append(c);
      });
      return tr;
    };
    const head = ["from, UTC", "error, °C", "smallest", "largest", ...names.map((n) => n + " contact, Ω")];
    table.tHead.replaceChildren(row(head, "th"));
    table.tBodies[0].replaceChildren(...d.time_s.map((t, i) => row([
      new Date(t * 1000).toISOString().slice(0, 16).replace("T", " "), fixed(d.error_degC.mean[i], 3), fixed(d.error_degC.min[i], 3),
      fixed(d.error_degC.max[i], 3), ...names.map((n) => fixed(d.contact_ohm[n].mean[i], 3)),
    ], "td")));
  }
}

// ---- start

body.classList.add("scripted");
index();
if ($("filter")) startTable($("filter"));
if ($("trend")) new Trend($("trend"));
if (body.dataset.stream) {
  open();
  setInterval(tick, 1000);
}
