// How a page behaves under a thumb: it opens at its top, its menu closes after a choice, and Enter goes to the next field.

let shown = "";

const fields = (form) =>
  [...form.querySelectorAll('[data-testid="stNumberInputField"] input, input[type="number"]')].filter((one) => one.checkVisibility());

document.addEventListener(
  "keydown",
  (event) => {
    const form = event.key === "Enter" && !event.isComposing && event.target.closest?.('[data-testid="stForm"]');
    if (!form) return;
    const all = fields(form);
    const here = all.indexOf(event.target);
    if (here < 0 || all.length < 2) return;
    const next = all[here + 1] ?? form.querySelector('[data-testid="stFormSubmitButton"] button');
    // After the field has taken what was typed.
    setTimeout(() => {
      next?.focus();
      next?.select?.();
    });
  },
  true,
);

document.addEventListener("click", (event) => {
  if (!event.target.closest?.(".st-key-more a")) return;
  document.dispatchEvent(new KeyboardEvent("keydown", { key: "Escape", bubbles: true }));
});

export default function ({ data }) {
  if (shown && shown !== data.page) document.querySelector('[data-testid="stMain"]')?.scrollTo(0, 0);
  shown = data.page;
}
