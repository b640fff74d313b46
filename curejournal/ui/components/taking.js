// A photo by the phone's own camera, at its full size: it lies in this browser's store (IndexedDB) until the journal has it,
// and is handed to the page's field for files; so is one by the camera within the page (`viewfinder.js`). Too dark or burnt out is said at once, while the soap is still there.

const LONGEST = 320; // of the small copy that is looked at; ours
// Of 255; ours. A picture whose median is below is too dark; a channel above is burnt out, in more than this share of it.
const DARK = 45;
const BURNT = 253;
const SHARE = 0.01;

const opened = new Promise((done, fail) => {
  const asked = indexedDB.open("curejournal", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("taken", { keyPath: "name" });
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => fail(asked.error);
});
opened.catch(() => {}); // a browser that stores nothing: the photo is uploaded all the same
const store = async (how, act) => {
  const asked = act((await opened).transaction("taken", how).objectStore("taken"));
  return new Promise((done, fail) => {
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
};

const hint = async (file, words) => {
  const whole = await createImageBitmap(file);
  const scale = LONGEST / Math.max(whole.width, whole.height);
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(whole.width * scale);
  canvas.height = Math.round(whole.height * scale);
  const context = canvas.getContext("2d");
  context.drawImage(whole, 0, 0, canvas.width, canvas.height);
  const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
  const brightest = [];
  for (let at = 0; at < data.length; at += 4) brightest.push(Math.max(data[at], data[at + 1], data[at + 2]));
  brightest.sort((a, b) => a - b);
  if (brightest[Math.floor(brightest.length / 2)] < DARK) return words.dark;
  return brightest[Math.floor(brightest.length * (1 - SHARE))] > BURNT ? words.burnt : "";
};

export default function ({ data, parentElement }) {
  const root = parentElement.querySelector(".taking");
  const find = (name) => root.querySelector(name);
  const { words } = data;
  const hand = (files) => {
    const field = document.querySelector('[data-testid="stFileUploaderDropzoneInput"], [data-testid="stFileUploader"] input[type=file]');
    const all = new DataTransfer();
    files.forEach((file) => all.items.add(file));
    field.files = all.files;
    field.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const show = async () => {
    const all = await store("readonly", (taken) => taken.getAll());
    for (const one of all) if (data.safe.includes(one.name)) await store("readwrite", (taken) => taken.delete(one.name));
    root.here ??= new Set();
    const left = all.filter((one) => one.journal === data.journal && !data.safe.includes(one.name) && !root.here.has(one.name));
    find(".left").hidden = !left.length;
    find(".left p").textContent = words.left.replace("{count}", left.length);
    find(".back").onclick = () => {
      left.forEach((one) => root.here.add(one.name));
      hand(left.map((one) => new File([one.bytes], one.name, { type: one.type })));
      find(".left").hidden = true;
    };
    find(".forget").onclick = async () => {
      for (const one of left) await store("readwrite", (taken) => taken.delete(one.name));
      find(".left").hidden = true;
    };
  };
  find("label span").textContent = words.take;
  find(".back").textContent = words.back;
  find(".forget").textContent = words.forget;
  find("input").setAttribute("aria-label", words.take);
  const take = async (chosen) => {
    // The demo's calendar is its own.
    const now = new Date((data.stands_at ?? Date.now()) - new Date().getTimezoneOffset() * 60_000).toISOString().replace(/[-:]/g, "");
    const name = `IMG_${now.slice(0, 8)}_${now.slice(9, 15)}.${chosen.name.split(".").pop()}`;
    const bytes = await chosen.arrayBuffer();
    (root.here ??= new Set()).add(name);
    await store("readwrite", (taken) => taken.put({ name, journal: data.journal, type: chosen.type, bytes })).catch(() => {});
    hand([new File([bytes], name, { type: chosen.type })]);
    find(".hint").textContent = await hint(chosen, words).catch(() => "");
  };
  find("input").onchange = async (event) => {
    const [chosen] = event.target.files;
    if (!chosen) return;
    await take(chosen);
    find("input").value = "";
  };
  root.finder ??= makeViewfinder({ root, words, take: (photo) => root.take(photo) });
  root.take = take;
  root.finder.turnTo(data.journal, data.card);
  show().catch(() => {});
}
