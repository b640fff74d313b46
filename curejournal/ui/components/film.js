// Two dates of one soap under one handle. The range field over the picture is the handle: it is moved by finger, mouse or
// arrow keys, and tells a screen reader where it stands. The strip below chooses the earlier date; Play walks through all.

const STEP_MS = 900;

export default function (component) {
  const { data, parentElement } = component;
  const root = parentElement.querySelector(".film");
  const find = (name) => root.querySelector(name);
  const [stage, before, after, range] = [".stage", ".before", ".after", "input"].map(find);
  const { frames, words } = data;
  const last = frames.length - 1;
  const state = (root.state ??= {});
  const known = frames.map((frame) => frame.src.length + frame.date).join();
  if (state.known !== known) Object.assign(state, { known, left: Math.min(data.first, last), at: 50, timer: 0 });

  const draw = () => {
    const two = state.left !== last;
    before.src = frames[state.left].src;
    before.alt = frames[state.left].alt;
    after.src = frames[last].src;
    after.alt = two ? frames[last].alt : "";
    stage.style.setProperty("--at", `${two && !state.timer ? state.at : 100}%`);
    find(".left").textContent = frames[state.left].date;
    find(".right").textContent = frames[last].date;
    for (const name of [".edge", ".right", "input"]) find(name).hidden = !two || Boolean(state.timer);
    range.value = state.at;
    range.setAttribute("aria-valuetext", `${100 - state.at} %`);
    find(".play").textContent = state.timer ? words.stop : words.play;
    for (const [number, button] of [...find(".strip").children].entries()) {
      button.setAttribute("aria-checked", String(number === state.left));
      button.tabIndex = number === state.left ? 0 : -1;
    }
  };
  const stop = () => {
    clearInterval(state.timer);
    state.timer = 0;
  };
  const choose = (number) => {
    stop();
    state.left = (number + frames.length) % frames.length;
    draw();
  };

  find(".strip").replaceChildren(
    ...frames.map((frame, number) => {
      const button = document.createElement("button");
      const image = document.createElement("img");
      image.src = frame.src;
      image.alt = "";
      button.type = "button";
      button.setAttribute("role", "radio");
      button.append(image, frame.date);
      button.onclick = () => choose(number);
      button.onkeydown = (event) => {
        const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
        if (!step) return;
        event.preventDefault();
        choose(number + step);
        find(".strip").children[state.left].focus();
      };
      return button;
    }),
  );
  find(".strip").setAttribute("aria-label", words.strip);
  find(".strip").hidden = !data.chooses || last < 1;
  find(".play").hidden = last < 2;
  find(".large").textContent = words.large;
  find(".large").hidden = !stage.requestFullscreen;
  find(".large").onclick = () => stage.requestFullscreen();
  range.setAttribute("aria-label", words.handle);
  range.oninput = () => {
    state.at = Number(range.value);
    draw();
  };
  find(".play").onclick = () => {
    if (state.timer) {
      choose(0);
      return;
    }
    state.left = 0;
    state.timer = setInterval(() => {
      if (state.left >= last) choose(0);
      else state.left += 1;
      draw();
    }, STEP_MS);
    draw();
  };
  draw();
  return stop;
}
