// A picture on which areas are drawn, or corners set, with mouse, pen or finger.
// Places are told in pixels of the full-size picture, so nothing depends on how large it is shown.
// A shape is {kind, points}: a box by two corners, a band by the ends of its middle line, a polygon by its corners.
// One that is `proposed` is redrawn as a whole.
// By keyboard: the arrows move a cross (with Shift in large steps), Enter sets a point there, Escape forgets a box begun.

const NS = "http://www.w3.org/2000/svg";
// A strip's pad is a finger's tip wide then.
const CLOSER = 4;

export default function (component) {
  const { data, parentElement, setStateValue } = component;
  const root = parentElement.querySelector(".mark");
  const image = root.querySelector("img");
  const sheet = root.querySelector("svg");
  const state = (root.state ??= { shapes: structuredClone(data.shapes), corners: [...data.corners] });
  if (image.src !== data.picture) image.src = data.picture;
  image.alt = data.alt;
  sheet.setAttribute("viewBox", `0 0 ${data.width} ${data.height}`);

  const place = (event) => {
    const frame = sheet.getBoundingClientRect();
    const x = ((event.clientX - frame.left) / frame.width) * data.width;
    const y = ((event.clientY - frame.top) / frame.height) * data.height;
    return [Math.min(Math.max(x, 0), data.width), Math.min(Math.max(y, 0), data.height)];
  };
  const outline = ({ kind, points }) => {
    if (kind === "polygon" || points.length < 2) return points;
    const [[x0, y0], [x1, y1]] = points;
    if (kind === "box") return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
    const long = Math.hypot(x1 - x0, y1 - y0) || 1;
    const across = [(-(y1 - y0) / long) * (data.thick / 2), ((x1 - x0) / long) * (data.thick / 2)];
    return [
      [x0 + across[0], y0 + across[1]], [x1 + across[0], y1 + across[1]],
      [x1 - across[0], y1 - across[1]], [x0 - across[0], y0 - across[1]],
    ];
  };
  const add = (kind, values, text) => {
    // A dark line beneath keeps a light one visible on white soap.
    for (const style of ["under", "over"]) {
      const made = document.createElementNS(NS, kind);
      made.setAttribute("class", style);
      for (const [name, value] of Object.entries(values)) made.setAttribute(name, value);
      if (text) made.textContent = text;
      sheet.append(made);
    }
  };
  const draw = () => {
    sheet.replaceChildren();
    const path = (points, closed) =>
      add(closed ? "polygon" : "polyline", { points: points.map((point) => point.join(",")).join(" ") });
    const dots = (points) => points.forEach(([cx, cy]) => add("circle", { cx, cy, r: data.width / 120 }));
    for (const [name, shape] of Object.entries(state.shapes)) {
      const points = outline(shape);
      path(points, points.length > 2);
      if (shape.kind === "polygon") dots(points);
      const left = Math.min(...points.map((point) => point[0]));
      const top = Math.min(...points.map((point) => point[1]));
      const high = data.width / 30;
      add("text", { x: left + data.width / 100, y: top > 1.4 * high ? top - high / 3 : top + 1.1 * high, "font-size": high }, name);
    }
    path(state.corners, state.corners.length === 4);
    dots(state.corners);
    if (document.activeElement && sheet.getRootNode().activeElement === sheet && state.cross) {
      const [x, y] = state.cross;
      path([[x, 0], [x, data.height]], false);
      path([[0, y], [data.width, y]], false);
    }
  };
  const tell = () => {
    if (data.current === null) setStateValue("corners", [...state.corners]);
    else setStateValue("shapes", structuredClone(state.shapes));
  };
  draw();

  const frame = root.querySelector(".frame");
  const closer = root.querySelector(".closer");
  const label = () => {
    closer.textContent = state.picking ? "Touch the place" : state.zoom ? "The whole picture" : "Closer";
  };
  const show = (zoom, [x, y]) => {
    state.zoom = zoom;
    state.picking = false;
    // The frame keeps its size; what is in it grows.
    frame.style.height = zoom ? `${frame.clientHeight}px` : "";
    root.querySelector(".sheet").style.width = zoom ? `${100 * CLOSER}%` : "";
    frame.scrollLeft = (x / data.width) * frame.scrollWidth - frame.clientWidth / 2;
    frame.scrollTop = (y / data.height) * frame.scrollHeight - frame.clientHeight / 2;
    label();
  };
  closer.onclick = () => {
    if (state.zoom) show(false, [0, 0]);
    else {
      state.picking = !state.picking;
      label();
    }
  };
  label();

  const setPoint = (at) => {
    if (data.current === null) {
      state.corners = state.corners.length >= 4 ? [at] : [...state.corners, at];
    } else if (data.kind === "polygon") {
      const known = state.shapes[data.current];
      const points = known?.kind === "polygon" && !known.proposed ? known.points : [];
      state.shapes[data.current] = { kind: "polygon", points: [...points, at] };
    } else if (!state.begun) {
      state.begun = at;
      return false;
    } else {
      state.shapes[data.current] = { kind: data.kind, points: [state.begun, at] };
      state.begun = null;
    }
    return true;
  };
  let start = null;
  let before = null;
  sheet.onpointerdown = (event) => {
    event.preventDefault();
    const at = place(event);
    if (state.picking) {
      show(true, at);
      return;
    }
    if (data.current !== null && data.kind !== "polygon") {
      sheet.setPointerCapture(event.pointerId);
      start = at;
      before = state.shapes[data.current];
      return;
    }
    setPoint(at);
    draw();
    tell();
  };
  sheet.onpointermove = (event) => {
    if (start === null) return;
    state.shapes[data.current] = { kind: data.kind, points: [start, place(event)] };
    draw();
  };
  const end = (event) => {
    if (start === null) return;
    const [x, y] = place(event);
    // A tap without a drag, or one that the system took away, leaves what was there.
    const small = Math.hypot(x - start[0], y - start[1]) < data.width / 100;
    const whole = event.type === "pointerup" && !small;
    if (whole) state.shapes[data.current] = { kind: data.kind, points: [start, [x, y]] };
    else if (before) state.shapes[data.current] = before;
    else delete state.shapes[data.current];
    start = null;
    draw();
    if (whole) tell();
  };
  sheet.tabIndex = 0;
  sheet.setAttribute("role", "application");
  sheet.setAttribute("aria-label", `${data.alt}. ${data.keys}`);
  sheet.onfocus = () => {
    state.cross ??= [data.width / 2, data.height / 2];
    draw();
  };
  sheet.onblur = draw;
  sheet.onkeydown = (event) => {
    const step = (data.width / 100) * (event.shiftKey ? 5 : 1);
    const move = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] }[event.key];
    if (!move && event.key !== "Enter" && event.key !== " " && event.key !== "Escape") return;
    event.preventDefault();
    state.cross ??= [data.width / 2, data.height / 2];
    if (move) {
      const limits = [data.width, data.height];
      state.cross = state.cross.map((at, axis) => Math.min(Math.max(at + move[axis], 0), limits[axis]));
      if (state.begun) state.shapes[data.current] = { kind: data.kind, points: [state.begun, state.cross] };
    } else if (event.key === "Escape") {
      if (state.begun) delete state.shapes[data.current];
      state.begun = null;
    } else if (setPoint([...state.cross])) {
      draw();
      tell();
      return;
    }
    draw();
  };
  sheet.onpointerup = end;
  sheet.onpointercancel = end;

  root.querySelector(".back").onclick = () => {
    if (data.current === null) state.corners.pop();
    else {
      const shape = state.shapes[data.current];
      if (shape?.kind === "polygon" && !shape.proposed && shape.points.length > 1) shape.points.pop();
      else delete state.shapes[data.current];
    }
    draw();
    tell();
  };
}
