// Presses that wait on this phone until the journal has answered each by its key. It stands before the scripts of the
// components that press; the first of them on a page makes it, and it lives as long as the page.
// - Each press lies under a name of its own in the local storage, so that two windows never write over each other's.
// - It is taken out again only when the journal says that it is kept, or the maker says that it is not wanted.
// - What lies there is sent by whatever page of the app is open, oldest first, and again until it is answered.

const makeOutbox = () => {
  const PATH = "/presses";
  const NAME = "curejournal-press:";
  // All ours: presses that one phone keeps; in one sending; milliseconds before a sending counts as lost, and between two.
  const MOST = 500;
  const AT_ONCE = 20;
  const PATIENCE = 8_000;
  const PAUSES = [300, 1_000, 2_000, 3_000];
  // Above it the browser does not carry a sending on after its page was closed (Fetch standard: 64 kB).
  const CARRIED = 30_000;

  const self = [...crypto.getRandomValues(new Uint8Array(8))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const listeners = new Set();
  const unkept = new Map(); // presses that this browser would not store: they wait as long as this page is open
  let config = null;
  let count = 0;
  let sending = null;
  let flying = new Set();
  let timer = 0;
  let tries = 0;
  let trouble = "";

  const place = (key) => `${NAME}${config.journal}:${key}`;
  const read = (name) => {
    try {
      const item = JSON.parse(localStorage.getItem(name));
      return typeof item?.press?.key === "string" && typeof item.press.at === "number" ? item : null;
    } catch {
      return null; // not ours, or damaged: left where it is
    }
  };
  const write = (item) => {
    try {
      localStorage.setItem(place(item.press.key), JSON.stringify(item));
      unkept.delete(item.press.key);
    } catch {
      unkept.set(item.press.key, item);
    }
  };
  const forget = (key) => {
    localStorage.removeItem(place(key));
    unkept.delete(key);
  };
  const number = (item) => Number(item.press.key.split("-")[1]);
  const items = () => {
    if (!config) return [];
    const found = [...unkept.values()];
    for (let n = 0; n < localStorage.length; n += 1) {
      const name = localStorage.key(n);
      const item = name.startsWith(place("")) ? read(name) : null;
      if (item) found.push(item);
    }
    return found.sort((a, b) => a.press.at - b.press.at || number(a) - number(b));
  };
  const mine = (item) => item.press.by === config.by && item.state === "waits";
  const tell = (answer) => listeners.forEach((listen) => listen(answer));

  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(send, PAUSES[Math.min(tries, PAUSES.length - 1)]);
    tries += 1;
  };
  const take = (answer) => {
    const item = read(place(answer.key)) ?? unkept.get(answer.key);
    if (!item) return;
    if (answer.state === "kept") forget(answer.key);
    else write({ ...item, state: answer.state, words: answer.words });
    tell({ ...answer, press: item.press, shown: item.shown });
  };
  const post = async (waiting) => {
    const presses = waiting.map((item) => item.press);
    const offset = -new Date().getTimezoneOffset();
    const body = JSON.stringify({ journal: config.journal, sent_at: Date.now(), offset, presses });
    const response = await fetch(PATH, {
      method: "POST",
      body,
      headers: { "content-type": "application/json" },
      redirect: "error",
      keepalive: body.length < CARRIED,
      signal: AbortSignal.timeout(PATIENCE),
    });
    const said = await response.json().catch(() => ({}));
    if (response.ok && Array.isArray(said.answers)) return said.answers;
    throw Object.assign(new Error("not kept"), { words: response.status === 401 ? config.words.signIn : (said.words ?? "") });
  };
  const send = async () => {
    clearTimeout(timer);
    if (!config || sending) return;
    const waiting = items().filter(mine).slice(0, AT_ONCE);
    if (!waiting.length) {
      tries = 0;
      return;
    }
    flying = new Set(waiting.map((item) => item.press.key));
    // From now on it may have arrived, whatever this phone hears of it.
    for (const item of waiting) if (!item.sent) write({ ...item, sent: true });
    sending = post(waiting);
    try {
      const answers = await sending;
      trouble = "";
      tries = 0;
      sending = null;
      flying.clear();
      answers.forEach(take);
      // Without an answer to any of them it would be asked at once for ever.
      if (answers.length) send();
      else later();
    } catch (fault) {
      sending = null;
      flying.clear();
      trouble = fault.words || config.words.cut;
      later();
      tell();
    }
  };

  // What waits is said on every page; where presses are made, it stands beside them instead.
  const notice = document.createElement("div");
  notice.className = "line-cut waits";
  notice.setAttribute("role", "status");
  const show = () => {
    const waiting = config && !listeners.size ? items() : [];
    const old = waiting.filter((item) => item.state !== "waits" || item.press.by !== config.by || Date.now() - item.press.at > 2_000);
    if (!old.length) {
      notice.remove();
      return;
    }
    const said = document.createElement("p");
    said.textContent = config.words.waiting.replace("{count}", old.length);
    notice.replaceChildren(said);
    if (!notice.isConnected) document.body.append(notice);
  };
  setInterval(show, 1_000);

  const wake = () => {
    tries = 0;
    if (!document.hidden) send();
  };
  for (const name of ["online", "pageshow", "focus"]) window.addEventListener(name, wake);
  document.addEventListener("visibilitychange", wake);
  window.addEventListener("storage", (event) => event.key?.startsWith(NAME) && tell());

  return {
    open(told) {
      config = told;
      tries = 0;
      send();
    },
    items,
    get trouble() {
      return trouble;
    },
    listen(listen) {
      listeners.add(listen);
      show();
      return () => listeners.delete(listen);
    },
    // Take a press: it is on the phone when this returns. Gives the item, or null where the phone keeps no more.
    press(what, shown) {
      if (items().length >= MOST) return null;
      count += 1;
      const press = { key: `${self}-${count}`, by: config.by, at: Date.now(), ...what };
      const item = { press, shown, state: "waits" };
      write(item);
      send();
      return item;
    },
    confirm(key) {
      const item = read(place(key)) ?? unkept.get(key);
      if (item) write({ ...item, state: "waits", words: "", press: { ...item.press, confirmed: true } });
      send();
      tell();
    },
    drop(key) {
      forget(key);
      tell();
    },
    // Take a press back: out of the phone if it was never sent, else by a press of its own.
    undo(press, madeBy) {
      const item = read(place(press.key)) ?? unkept.get(press.key);
      if (item && !flying.has(press.key) && !item.sent) forget(press.key);
      else this.press({ batch: press.batch, what: "undo", of: madeBy || press.key }, config.words.undo);
      tell();
    },
    stored: (key) => !unkept.has(key),
  };
};
const outbox = (window.curejournalOutbox ??= makeOutbox());
