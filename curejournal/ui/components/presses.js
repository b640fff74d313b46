// The day of the pour on a phone. What is pressed shows at once, whatever the server does: it is on the phone first
// (`outbox`), and each word here of what became of it is the journal's answer.

const MINUTE = 60_000;
const DAY = 86_400_000;
// Milliseconds, ours. A half-typed note is forgotten after a day; how long a button shows that it was pressed; how long
// the page waits for another press before it is redrawn with what was kept.
const DRAFT = DAY;
const SHOWN = 1_200;
const QUIET = 1_500;

export default function (component) {
  const { data, parentElement, setStateValue, setTriggerValue } = component;
  const root = parentElement.querySelector(".pour");
  const find = (name) => root.querySelector(name);
  const state = (root.state ??= { batch: data.current, portion: "", last: null, made: [], undone: new Set(), drawn: 0 });
  const { words, batches } = data;
  if (!batches.some((one) => one.code === state.batch) || state.asked !== data.current) state.batch = data.current;
  state.asked = data.current;
  const batch = () => batches.find((one) => one.code === state.batch) ?? batches[0];
  const make = (tag, text, className) => {
    const made = document.createElement(tag);
    made.textContent = text ?? "";
    if (className) made.className = className;
    if (tag === "button") made.type = "button";
    return made;
  };

  // What would be drawn as it is stays: a finger or the focus may be on it.
  const same = (place, drawn) => {
    const before = place.drawn;
    place.drawn = JSON.stringify(drawn);
    return before === place.drawn;
  };

  // --- half-typed fields outlive the page ---
  const draft = () => `curejournal-draft:${data.journal}:${state.batch}`;
  const fields = ["temperature", "note", "bars", "days"].map((name) => find(`[name=${name}]`));
  const remember = () => {
    const typed = Object.fromEntries(fields.map((field) => [field.name, field.value]).filter(([, value]) => value));
    try {
      if (Object.keys(typed).length) localStorage.setItem(draft(), JSON.stringify({ at: Date.now(), typed }));
      else localStorage.removeItem(draft());
    } catch {
      // a browser that stores nothing keeps them as long as the page
    }
  };
  const recall = () => {
    let kept = null;
    try {
      kept = JSON.parse(localStorage.getItem(draft()));
    } catch {
      // damaged: as if nothing had been typed
    }
    const typed = kept && Date.now() - kept.at < DRAFT ? kept.typed : {};
    for (const field of fields) field.value = typeof typed?.[field.name] === "string" ? typed[field.name].slice(0, 500) : "";
  };

  // --- what was pressed, and what became of it ---
  const now = () => data.stands_at ?? Date.now();
  const offset = () => find("[name=when]").value && new Date(find("[name=when]").value).getTime();
  const take = (button, what, label, more = {}) => {
    const happened = offset();
    const portion = more.portion ?? state.portion;
    const shown = [label, portion].filter(Boolean).join(" · ");
    const press = { batch: state.batch, what, portion, ...more, ...(happened ? { happened } : {}) };
    const item = outbox.press(press, shown);
    state.last = item ? { item, shown, stage: "keeping" } : { shown, stage: "full" };
    if (button && item) {
      button.classList.add("pressed");
      setTimeout(() => button.classList.remove("pressed"), SHOWN);
    }
    // One press is of one portion: the next is of the whole batch again, unless another is chosen.
    state.portion = "";
    find("[name=when]").value = "";
    draw();
  };
  const say = () => {
    const { last } = state;
    const told = find(".told");
    if (!last) {
      told.drawn = "";
      told.replaceChildren();
      return;
    }
    const waits = last.stage === "keeping" && (outbox.trouble || Date.now() - last.item.press.at > 2_500);
    if (same(told, [last.item?.press.key, last.stage, waits, last.words, last.shown, outbox.trouble])) return;
    const box = make("div", "", waits ? "said waits" : "said");
    const line = make("p");
    line.append(make("b", waits ? words.notSaved : words[last.stage]), ` ${last.words ?? last.shown}`);
    if (waits) line.append(make("small", ` ${outbox.stored(last.item.press.key) ? outbox.trouble : words.notStored}`));
    box.append(line);
    if (last.item && ["keeping", "kept"].includes(last.stage)) {
      const undo = make("button", words.undo);
      undo.onclick = () => {
        outbox.undo(last.item.press, last.made_by);
        state.undone.add(last.made_by || last.item.press.key);
        state.last = { shown: last.shown, stage: "undone" };
        draw();
      };
      box.append(undo);
    }
    told.replaceChildren(box);
  };
  const ask = () => {
    const boxes = outbox.items().map((item) => {
      const { key, by } = item.press;
      if (item.state === "waits" && by === data.by) return null;
      const box = make("div", "", "asked");
      const line = make("p");
      line.append(make("b", item.state === "asked" ? words.asked : item.state === "waits" ? words.other : words.refused));
      line.append(` ${item.press.batch}: ${item.shown}. ${item.words ?? by}`);
      const acts = make("div");
      const drop = make("button", words.drop, item.state === "asked" ? "dark" : "");
      drop.onclick = () => outbox.drop(key);
      const keep = make("button", item.state === "asked" ? words.keep : words.again);
      keep.onclick = () => outbox.confirm(key);
      if (item.state !== "waits") acts.append(keep);
      acts.append(drop);
      box.append(line, acts);
      return box;
    });
    find(".waiting").replaceChildren(...boxes.filter(Boolean));
  };
  const list = () => {
    const lately = batch().lately.filter((one) => !state.undone.has(one.press));
    const known = new Set([...state.undone, ...lately.map((one) => one.press)]);
    const made = state.made.filter((one) => one.press.batch === state.batch && !known.has(one.made_by)).reverse();
    const waits = outbox.items().filter((item) => item.state === "waits" && item.press.batch === state.batch && item.press.what !== "undo");
    const lines = [
      ...waits.reverse().map((item) => make("li", `${words.notSaved} ${item.shown}`, "waits")),
      ...made.map((one) => make("li", one.words)),
      ...lately.map((one) => make("li", one.words)),
    ];
    find(".lately").replaceChildren(...lines);
    find("h3").hidden = !lines.length;
  };

  // When it was poured, as the page was told or as it was pressed since.
  const poured = () => {
    const of = (press) => press.batch === state.batch && press.what === "poured";
    const waits = outbox.items().find((item) => of(item.press));
    return batch().poured ?? state.made.find((one) => of(one.press))?.at ?? waits?.press.at ?? null;
  };

  // --- the buttons ---
  const radios = (place, choices, chosen, choose) => {
    const group = find(place);
    group.hidden = choices.length < 2;
    if (same(group, [state.batch, chosen, choices])) return;
    group.replaceChildren(
      ...choices.map(([value, label, small]) => {
        const button = make("button", label);
        if (small) button.append(make("small", small));
        button.setAttribute("role", "radio");
        button.setAttribute("aria-checked", String(value === chosen));
        button.onclick = () => choose(value);
        return button;
      }),
    );
  };
  const openCut = (button) => {
    const form = find(".cut");
    form.hidden = false;
    const since = poured() && Math.max(0, Math.round((now() - poured()) / DAY));
    form.days.value ||= since ?? "";
    form.days.parentElement.hidden = since == null;
    form.bars.focus();
    form.onsubmit = (event) => {
      event.preventDefault();
      const bars = Number(form.bars.value);
      const days = form.days.value === "" ? since : Number(form.days.value);
      const more = bars ? { bars } : {};
      if (since != null && days !== since) more.happened = Math.min(poured() + days * DAY + MINUTE, now());
      form.bars.value = form.days.value = "";
      remember();
      form.hidden = true;
      take(button, "cut", words.cut, { ...more, portion: "" });
    };
    form.querySelector(".not").onclick = () => {
      form.hidden = true;
      button.focus();
    };
  };
  const buttons = (place, kinds) =>
    find(place).replaceChildren(
      ...kinds.map(([kind, label]) => {
        const button = make("button", label);
        button.onclick = () => (kind === "cut" ? openCut(button) : take(button, kind, label));
        return button;
      }),
    );
  const draw = () => {
    radios(".turns", batches.map((one) => [one.code, one.name, one.about]), state.batch, (code) => {
      state.batch = code;
      state.portion = "";
      find(".cut").hidden = true;
      recall();
      draw();
      setStateValue("batch", code);
    });
    radios(".portions", ["", ...batch().portions].map((name) => [name, name || words.whole]), state.portion, (name) => {
      state.portion = name;
      draw();
      find('.portions [aria-checked="true"]').focus();
    });
    say();
    ask();
    list();
  };
  const typed = (form, what, read) => {
    form.onsubmit = (event) => {
      event.preventDefault();
      const [field] = form.elements;
      if (!field.value.trim()) {
        field.focus();
        return;
      }
      const value = field.value;
      field.value = "";
      remember();
      take(null, what, read(value).label, read(value).more);
    };
  };
  const label = (place, text) => {
    find(place).textContent = text;
  };

  if (!state.ready || state.words !== JSON.stringify(words)) {
    state.ready = true;
    state.words = JSON.stringify(words);
    buttons(".pour > .large", data.buttons);
    buttons(".more .large", data.more);
    label(".cut label:nth-of-type(1) span", words.bars);
    label(".cut label:nth-of-type(2) span", words.days);
    label(".cut .dark", words.keepCut);
    label(".cut .not", words.notNow);
    label(".more summary", words.more);
    label(".warm span", words.temperature);
    label(".warm button", words.keepTemperature);
    label(".note span", words.note);
    label(".note button", words.keepNote);
    label(".when summary", words.when);
    label(".when span", words.at);
    label(".awake span", words.awake);
    label("h3", words.lately);
    find("[name=note]").placeholder = words.example;
    find(".turns").setAttribute("aria-label", words.turns);
    find(".portions").setAttribute("aria-label", words.of);
    recall();
  }
  fields.forEach((field) => (field.oninput = remember));
  typed(find(".warm"), "temperature", (value) => ({
    label: `${words.temperature.split(",")[0]} ${value}`,
    more: { value: data.fahrenheit ? (Number(value) - 32) / 1.8 : Number(value) },
  }));
  typed(find(".note"), "note", (value) => ({ label: value, more: { note: value } }));

  // --- the screen stays on while soap is poured ---
  const awake = find("[name=awake]");
  const hold = async () => {
    if (!awake.checked || document.hidden || state.lock) return;
    try {
      state.lock = await navigator.wakeLock.request("screen");
      state.lock.addEventListener("release", () => (state.lock = null));
    } catch {
      state.lock = null; // refused, as where the battery is low
    }
  };
  const letGo = () => state.lock?.release();
  find(".awake").hidden = !navigator.wakeLock;
  if (!state.begun) awake.checked = localStorage.getItem("curejournal-awake") !== "no";
  state.begun = true;
  awake.onchange = () => {
    localStorage.setItem("curejournal-awake", awake.checked ? "yes" : "no");
    if (awake.checked) hold();
    else letGo();
  };
  document.addEventListener("visibilitychange", hold);
  hold();

  outbox.open({ journal: data.journal, by: data.by, words: data.outbox });
  const heard = (answer) => {
    if (answer?.state === "kept" && answer.press.what !== "undo") {
      if (!state.made.some((one) => one.made_by === answer.made_by)) state.made.push(answer);
      if (state.last?.item?.press.key === answer.key) Object.assign(state.last, { stage: "kept", words: answer.words, made_by: answer.made_by });
    } else if (answer && state.last?.item?.press.key === answer.key) state.last = null;
    if (answer?.state === "kept") {
      clearTimeout(state.drawn);
      state.drawn = setTimeout(() => setTriggerValue("kept", answer.key), QUIET);
    }
    draw();
  };
  const stop = outbox.listen(heard);
  const clock = setInterval(say, 1_000);
  draw();
  return () => {
    stop();
    clearInterval(clock);
    document.removeEventListener("visibilitychange", hold);
    letGo();
  };
}
