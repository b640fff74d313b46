// A picture on which areas are drawn, or corners set, with mouse, pen or finger.
// Places are told in pixels of the full-size picture, so nothing depends on how large it is shown.

const NS = "http://www.w3.org/2000/svg";

export default function (component) {
  const { data, parentElement, setStateValue } = component;
  const root = parentElement.querySelector(".mark");
  const image = root.querySelector("img");
  const sheet = root.querySelector("svg");
  const state = (root.state ??= { boxes: { ...data.boxes }, corners: [...data.corners] });
  if (image.src !== data.picture) image.src = data.picture;
  image.alt = data.alt;
  sheet.setAttribute("viewBox", `0 0 ${data.width} ${data.height}`);

  const place = (event) => {
    const frame = sheet.getBoundingClientRect();
    const x = ((event.clientX - frame.left) / frame.width) * data.width;
    const y = ((event.clientY - frame.top) / frame.height) * data.height;
    return [Math.min(Math.max(x, 0), data.width), Math.min(Math.max(y, 0), data.height)];
  };
  const shape = (kind, style, values) => {
    const made = document.createElementNS(NS, kind);
    made.setAttribute("class", style);
    for (const [name, value] of Object.entries(values)) made.setAttribute(name, value);
    sheet.append(made);
    return made;
  };
  const draw = () => {
    sheet.replaceChildren();
    for (const [name, [x0, y0, x1, y1]] of Object.entries(state.boxes)) {
      for (const style of ["under", "over"]) shape("rect", style, { x: x0, y: y0, width: x1 - x0, height: y1 - y0 });
      for (const style of ["under", "over"])
        shape("text", style, { x: x0 + data.width / 100, y: y0 + data.width / 25, "font-size": data.width / 30 }).textContent = name;
    }
    const points = state.corners.map((point) => point.join(",")).join(" ");
    for (const style of ["under", "over"]) shape(state.corners.length === 4 ? "polygon" : "polyline", style, { points });
    for (const [cx, cy] of state.corners)
      for (const style of ["under", "over"]) shape("circle", style, { cx, cy, r: data.width / 120 });
  };
  draw();

  let start = null;
  const span = (event) => {
    const [x, y] = place(event);
    return [Math.min(start[0], x), Math.min(start[1], y), Math.max(start[0], x), Math.max(start[1], y)];
  };
  sheet.onpointerdown = (event) => {
    event.preventDefault();
    if (data.current === null) {
      state.corners = state.corners.length >= 4 ? [place(event)] : [...state.corners, place(event)];
      draw();
      setStateValue("corners", state.corners);
      return;
    }
    sheet.setPointerCapture(event.pointerId);
    start = place(event);
  };
  sheet.onpointermove = (event) => {
    if (start === null) return;
    state.boxes[data.current] = span(event);
    draw();
  };
  sheet.onpointerup = (event) => {
    if (start === null) return;
    const box = span(event);
    start = null;
    // A tap without a drag marks nothing.
    if (box[2] - box[0] < data.width / 200 || box[3] - box[1] < data.height / 200) delete state.boxes[data.current];
    else state.boxes[data.current] = box;
    draw();
    setStateValue("boxes", { ...state.boxes });
  };
  sheet.onpointercancel = () => {
    start = null;
  };
}
