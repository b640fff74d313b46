// What was typed into a form and not saved outlives a reload of the page, for a day, in this browser's local storage:
// fields tell the server nothing before their form is sent, so that only the browser knows what is half typed.
// A field is known by its form and its own key; once its form was saved, all of it is forgotten.

const makeDrafts = () => {
  // Ours: a day; more fields than the longest recipe has, and longer than a note.
  const LASTS = 86_400_000;
  const MOST = 300;
  const LONGEST = 2_000;
  const FIELDS = 'input:not([type]), input[type="text"], input[type="number"], textarea';
  const done = {};
  const restored = new Set();
  let forms = {};
  let place = "";
  let timer = 0;

  const read = () => {
    let found = null;
    try {
      found = JSON.parse(localStorage.getItem(place));
    } catch {
      // damaged: as if nothing had been typed
    }
    const fresh = ([, one]) => typeof one?.value === "string" && one.value.length <= LONGEST && Date.now() - one.at < LASTS;
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
  const start = (form) => `st-key-${`${form}-${forms[form]}`.replace(/[^a-zA-Z0-9_-]/g, "-")}-`;
  const name = (field) => {
    for (let at = field; at; at = at.parentElement) {
      for (const token of at.classList) {
        const form = token.startsWith("st-key-") && Object.keys(forms).find((one) => token.startsWith(start(one)));
        if (form) return `${form}|${token.slice(start(form).length)}`;
      }
    }
    return "";
  };
  document.addEventListener(
    "input",
    (event) => {
      const known = event.isTrusted && event.target.matches?.(FIELDS) && name(event.target);
      if (!known) return;
      const drafts = read();
      delete drafts[known];
      if (event.target.value) drafts[known] = { value: event.target.value, at: Date.now() };
      write(drafts);
    },
    true,
  );

  const fill = (field, value) => {
    const kind = field instanceof HTMLTextAreaElement ? HTMLTextAreaElement : HTMLInputElement;
    // React hears of a value only if it was set past its own setter, and takes it up when the field is left.
    Object.getOwnPropertyDescriptor(kind.prototype, "value").set.call(field, value);
    for (const said of [new Event("input", { bubbles: true }), new FocusEvent("focusout", { bubbles: true })]) field.dispatchEvent(said);
  };
  const restore = () => {
    timer = 0;
    for (const [known, { value }] of Object.entries(read())) {
      const [form, rest] = known.split("|");
      if (!(form in forms)) continue;
      const token = start(form) + rest;
      const field = restored.has(token) ? null : document.querySelector(`.${CSS.escape(token)}`)?.querySelector(FIELDS);
      if (!field) continue;
      restored.add(token);
      if (field.value !== value && document.activeElement !== field) fill(field, value);
    }
  };
  new MutationObserver(() => {
    timer ||= setTimeout(restore, 200);
  }).observe(document.body, { childList: true, subtree: true });

  return (told) => {
    place = `curejournal-forms:${told.journal}:${told.by}`;
    forms = told.forms;
    const drafts = read();
    for (const [form, times] of Object.entries(told.done)) {
      if (times > (done[form] ?? 0)) for (const known of Object.keys(drafts)) if (known.startsWith(`${form}|`)) delete drafts[known];
      done[form] = times;
    }
    write(drafts);
    restore();
  };
};
const keepDrafts = (window.curejournalDrafts ??= makeDrafts());
