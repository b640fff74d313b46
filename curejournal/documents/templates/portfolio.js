// Before and after: a handle over the two pictures. Without script they share the frame half and half.
for (const pair of document.querySelectorAll(".pair")) {
  const handle = document.createElement("input");
  handle.type = "range";
  handle.max = 100;
  handle.value = 50;
  handle.setAttribute("aria-label", "How much of the later picture is shown");
  handle.addEventListener("input", () => pair.style.setProperty("--at", `${handle.value}%`));
  pair.append(handle);
}
