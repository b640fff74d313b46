// What was typed into a form and not saved outlives a reload of the page, for a day, in this browser's local storage:
// fields tell the server nothing before their form is sent, so that only the browser knows what is half typed.
// A field is known by its form and its own key. Each form that is drawn has a stamp, and the server tells the stamps of
// those that were saved, in whatever window: what was typed into one of them is forgotten, even where its answer got lost.
// Kept are text, numbers, ticks, and buttons of which one is chosen; not lists, dates and files, and that is said.

const makeDrafts = () => {
  // Ours: a day; more fields than the longest recipe has, and longer than a note.
  const LASTS = 86_400_000;
  const MOST = 300;
  const LONGEST = 2_000;
  // Milliseconds, ours: until a field shows what was pressed.
  const SHOWS = 50;
  const TYPED = 'input:not([type]), input[type="text"], input[type="number"], textarea';
  const CHOSEN = 'input[type="radio"], input[type="checkbox"]';
  const restored = new Set();
  const notice = document.createElement("div");
  let forms = {};
  let words = {};
  let place = "";
  let timer = 0;

  const read = () => {
    let found = null;
    try {
      found = JSON.parse(localStorage.getItem(place));
    } catch {
      // damaged: as if nothing had been typed
    }
    const fresh = ([, one]) =>
      typeof one?.value === "string" && one.value.length <= LONGEST && Array.isArray(one.stamps) && Date.now() - one.at < LASTS;
    return Object.fromEntries(Object.entries(found && typeof found === "object" ? found : {}).filter(fresh).slice(-MOST));
  };
  const write = (drafts) => {
    try {
      if (Object.keys(drafts).length) localStorage.setItem(place, JSON.stringify(drafts));
      else localStorage.removeItem(place);
    } catch {
      // a browser that stores nothing forgets with the page
    }
  };
  // As Streamlit makes a class of a key.
  const start = (form) => `st-key-${`${form}-${forms[form].times}`.replace(/[^a-zA-Z0-9_-]/g, "-")}-`;
  const name = (field) => {
    for (let at = field; at; at = at.parentElement) {
      for (const token of at.classList) {
        const form = token.startsWith("st-key-") && Object.keys(forms).find((one) => token.startsWith(start(one)));
        if (form) return `${form}|${token.slice(start(form).length)}`;
      }
    }
    return "";
  };
  const label = (field) => field.closest("label")?.textContent ?? "";
  const valueOf = (field) => ({ checkbox: String(field.checked), radio: label(field) })[field.type] ?? field.value;
  const keep = (field) => {
    const known = name(field);
    if (!known || (field.type === "radio" && !field.checked)) return;
    const drafts = read();
    delete drafts[known];
    const value = valueOf(field);
    if (value) drafts[known] = { value, at: Date.now(), stamps: [forms[known.split("|")[0]].stamp] };
    write(drafts);
  };
  const typed = ({ isTrusted, target }) => isTrusted && target.matches?.(TYPED) && keep(target);
  // Streamlit presses what is chosen itself: of that no field tells. It is looked at once it shows what was pressed.
  const pressed = ({ isTrusted, target }) => {
    const field = isTrusted && (target.closest?.("label") ?? target.parentElement)?.querySelector(CHOSEN);
    if (field) setTimeout(() => field.isConnected && keep(field), SHOWS);
  };
  document.addEventListener("input", typed, true);
  for (const how of ["click", "keyup"]) document.addEventListener(how, pressed, true);

  const fill = (field, value) => {
    const kind = field instanceof HTMLTextAreaElement ? HTMLTextAreaElement : HTMLInputElement;
    // React hears of a value only if it was set past its own setter, and takes it up when the field is left.
    Object.getOwnPropertyDescriptor(kind.prototype, "value").set.call(field, value);
    for (const said of [new Event("input", { bubbles: true }), new FocusEvent("focusout", { bubbles: true })]) field.dispatchEvent(said);
  };
  // Bring one field back; gives whether it now shows something else than it did.
  const bringBack = (fields, value) => {
    const field = fields[0].type === "radio" ? fields.find((one) => label(one) === value) : fields[0];
    if (!field || document.activeElement === field) return false;
    if (field.matches(CHOSEN)) {
      const press = field.checked !== (field.type === "radio" || value === "true");
      if (press) field.click();
      return press;
    }
    if (field.value === value) return false;
    fill(field, value);
    return true;
  };
  const say = () => {
    const said = document.createElement("p");
    said.textContent = words.back;
    const close = document.createElement("button");
    close.type = "button";
    close.textContent = words.close;
    close.onclick = () => notice.remove();
    notice.replaceChildren(said, close);
    if (!notice.isConnected) document.body.append(notice);
  };
  const restore = () => {
    timer = 0;
    let back = false;
    for (const [known, { value }] of Object.entries(read())) {
      const [form, rest] = known.split("|");
      if (!(form in forms)) continue;
      const token = start(form) + rest;
      const box = restored.has(token) ? null : document.querySelector(`.${CSS.escape(token)}`);
      const fields = [...(box?.querySelectorAll(`${TYPED}, ${CHOSEN}`) ?? [])];
      if (!fields.length) continue;
      restored.add(token);
      back = bringBack(fields, value) || back;
    }
    if (back) say();
  };
  new MutationObserver(() => {
    timer ||= setTimeout(restore, 200);
  }).observe(document.body, { childList: true, subtree: true });
  notice.className = "line-cut back";
  notice.setAttribute("role", "status");

  return (told) => {
    place = `curejournal-forms:${told.journal}:${told.by}`;
    forms = told.forms;
    words = told;
    const drafts = read();
    for (const [known, one] of Object.entries(drafts)) {
      const drawn = forms[known.split("|")[0]];
      if (one.stamps.some((stamp) => told.saved.includes(stamp))) delete drafts[known];
      else if (drawn && !one.stamps.includes(drawn.stamp)) one.stamps.push(drawn.stamp);
    }
    write(drafts);
    restore();
  };
};
const keepDrafts = (window.curejournalDrafts ??= makeDrafts());
