// The line between a page and the app is a websocket. Of a phone that slept or lost its network it is often dead without
// the browser's knowing: what is pressed goes into it and never arrives. Once a line has closed, Streamlit connects again
// to the same session, but what was pressed it does not repeat. Therefore:
// - after a sleep the line is tried; what is pressed meanwhile is held back, for this line if it answers or else the next;
// - where something pressed stays without an answer, the line is tried too;
// - if a line ends with something pressed on it unanswered, that is told. It is not sent again: it may have arrived.

const STREAM = /\/_stcore\/stream$/;
// Streamlit's BackMsg with app_heartbeat (field 17) true: the server answers it at once, whatever else it is doing.
const HEARTBEAT = new Uint8Array([0x88, 0x01, 0x01]);
// In milliseconds, all ours. A page hidden for longer may have slept:
const SLEPT = 10_000;
// what is sent so soon after a touch or a key was pressed (a slider waits 200 ms):
const SOON = 1_000;
// without an answer to what was pressed, before the line is tried; a long piece of work may be going on:
const SLOW = 5_000;
// without an answer to a heartbeat, before a line counts as dead; far above any network at home:
const PATIENCE = 3_000;
// between two tries whether the app is there again:
const RETRY = 1_000;
// held back for longer it would be stamped with a wrong time:
const STALE = 15_000;

const { send, addEventListener } = WebSocket.prototype;
const notice = document.createElement("div");
let words = {};
let socket = null;
let touched = 0;
let hiddenAt = 0;
// When that was pressed which is sent and not answered yet, and since when the cut is told; 0 if there is none.
let asked = 0;
let toldAt = 0;
let slow = 0;
let trial = 0;
let held = [];

const hide = () => {
  toldAt = 0;
  notice.remove();
};

const say = (text) => {
  const said = document.createElement("p");
  said.textContent = text;
  notice.replaceChildren(said);
  document.body.append(notice);
};

const tell = () => {
  toldAt = Date.now();
  say(words.cut);
  const close = document.createElement("button");
  close.type = "button";
  close.textContent = words.close;
  close.onclick = hide;
  notice.append(close);
};

const rest = () => {
  clearTimeout(slow);
  clearTimeout(trial);
  asked = slow = trial = 0;
};

const tryLine = () => {
  if (trial || socket?.readyState !== WebSocket.OPEN) return;
  const tried = socket;
  // Told that it has closed, Streamlit connects again at once; the browser may take minutes to find out.
  trial = setTimeout(() => tried.dispatchEvent(new CloseEvent("close", { code: 1006 })), PATIENCE);
  send.call(tried, HEARTBEAT);
};

const pass = (data, pressed) => {
  if (pressed) {
    asked = pressed;
    slow ||= setTimeout(tryLine, SLOW);
  }
  send.call(socket, data);
};

const release = () => {
  const waiting = held;
  held = [];
  if (waiting.length && !toldAt) hide();
  for (const { data, pressed, since } of waiting) {
    if (Date.now() - since < STALE) pass(data, pressed);
    else if (pressed) tell();
  }
};

const adopt = (found) => {
  if (found === socket || found.readyState > WebSocket.OPEN || !STREAM.test(found.url)) return;
  rest();
  socket = found;
  const on = (name, act) => addEventListener.call(found, name, () => found === socket && act());
  on("message", () => {
    if (toldAt && asked > toldAt) hide();
    rest();
    release();
  });
  // Streamlit's own first words go before: they would break off what was held.
  on("open", () => setTimeout(release));
  on("close", () => {
    if (asked) tell();
    rest();
    socket = null;
  });
};

WebSocket.prototype.addEventListener = function (...how) {
  adopt(this);
  addEventListener.apply(this, how);
};

WebSocket.prototype.send = function (data) {
  adopt(this);
  if (this !== socket) {
    send.call(this, data);
    return;
  }
  const pressed = Date.now() - touched < SOON ? touched : 0;
  if (!trial) {
    pass(data, pressed);
    return;
  }
  held.push({ data, pressed, since: Date.now() });
  if (pressed && !toldAt) say(words.waits);
};

for (const name of ["pointerdown", "pointerup", "keydown"]) {
  const touch = (event) => {
    if (event.type !== "keydown" || ["Enter", " "].includes(event.key)) touched = Date.now();
  };
  document.addEventListener(name, touch, true);
}

const wake = () => {
  if (document.hidden) {
    hiddenAt ||= Date.now();
    return;
  }
  if (hiddenAt && Date.now() - hiddenAt > SLEPT) tryLine();
  hiddenAt = 0;
};
document.addEventListener("visibilitychange", wake);
window.addEventListener("pageshow", wake);

// A part of the app that the cut kept from coming is not asked for again: what stands in its place is an empty page. Vite,
// which loads such parts, tells of it. The page is reloaded as soon as the app answers; what was typed and pressed is kept.
const reload = async () => {
  const answer = await fetch("/_stcore/health", { cache: "no-store" }).catch(() => null);
  if (answer?.ok) location.reload();
  else setTimeout(reload, RETRY);
};
window.addEventListener("vite:preloadError", () => setTimeout(reload, RETRY), { once: true });

notice.className = "line-cut";
notice.setAttribute("role", "alert");

// The first line is older than this script: it is known from when something is first sent on it.
export default function ({ data }) {
  words = data;
  keepDrafts(data);
  outbox.open({ journal: data.journal, by: data.by, words: data.outbox });
}
