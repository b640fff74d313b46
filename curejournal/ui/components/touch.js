// Pictures in which areas of soap are touched to choose their colour: by finger, mouse or keyboard.
// An area is given in pixels of the full-size picture, so nothing depends on how large it is shown.

const NS = "http://www.w3.org/2000/svg";

const area = ({ id, label, points }, chosen, choose) => {
  const made = document.createElementNS(NS, "polygon");
  made.setAttribute("points", points.map((point) => point.join(",")).join(" "));
  made.setAttribute("role", "button");
  made.setAttribute("tabindex", "0");
  made.setAttribute("aria-label", label);
  made.setAttribute("aria-pressed", String(id === chosen));
  made.addEventListener("click", () => choose(id));
  made.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" && event.key !== " ") return;
    event.preventDefault();
    choose(id);
  });
  return made;
};

const figure = (picture, chosen, choose) => {
  const made = document.createElement("figure");
  const image = document.createElement("img");
  image.src = picture.src;
  image.alt = picture.alt;
  const sheet = document.createElementNS(NS, "svg");
  sheet.setAttribute("viewBox", `0 0 ${picture.width} ${picture.height}`);
  sheet.append(...picture.areas.map((one) => area(one, chosen, choose)));
  const words = document.createElement("figcaption");
  words.textContent = picture.words;
  made.append(image, sheet, words);
  // One soap alone is touched anywhere in its picture: a card's window is smaller than a fingertip.
  if (picture.areas.length === 1) made.addEventListener("click", () => choose(picture.areas[0].id));
  else made.className = "several";
  return made;
};

export default function (component) {
  const { data, parentElement, setStateValue } = component;
  const root = parentElement.querySelector(".touch");
  const draw = (chosen) => {
    const choose = (id) => {
      draw(id);
      setStateValue("touched", id);
    };
    root.replaceChildren(...data.pictures.map((picture) => figure(picture, chosen, choose)));
  };
  draw(data.chosen);
}
