// The camera within the page, where the browser allows it. What it sees is looked at about twice a second by what finds the
// card in the photo, and said before the shutter. The photo is as large as the camera gives: its own, or else the view.

const makeViewfinder = ({ root, words, take }) => {
  // More pixels than any camera has: it then gives its most. Ours, as are milliseconds between two looks, and until one
  // counts as lost; the longest side and the quality of what is looked at; the quality of a photo that is made of a view.
  const MOST = { width: { ideal: 8192 }, height: { ideal: 6144 } };
  const PAUSE = 400;
  const PATIENCE = 4_000;
  const LOOKED_AT = 960;
  const LOOK_QUALITY = 0.85;
  const QUALITY = 0.95;

  const find = (name) => root.querySelector(name);
  const video = find("video");
  const canvas = document.createElement("canvas");
  let stream = null;
  let timer = 0;
  let url = "";

  const drawn = (longest, quality) => {
    const scale = Math.min(1, longest / Math.max(video.videoWidth, video.videoHeight));
    canvas.width = Math.round(video.videoWidth * scale);
    canvas.height = Math.round(video.videoHeight * scale);
    canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
    return new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
  };
  const say = ({ ready, words: text }) => {
    const hint = find(".finder .seen");
    hint.classList.toggle("ready", Boolean(ready));
    if (hint.textContent !== text) hint.textContent = text;
  };
  const look = async () => {
    const mine = stream;
    if (!mine) return;
    if (!root.isConnected) {
      close();
      return;
    }
    if (!document.hidden && video.videoWidth) {
      const body = await drawn(LOOKED_AT, LOOK_QUALITY);
      const answer = await fetch(url, { method: "POST", body, redirect: "error", signal: AbortSignal.timeout(PATIENCE) }).catch(() => null);
      const said = answer?.ok ? await answer.json().catch(() => ({})) : {};
      if (stream !== mine) return;
      say(said.words ? said : { words: words.noHint });
    }
    timer = setTimeout(look, PAUSE);
  };
  const close = () => {
    clearTimeout(timer);
    stream?.getTracks().forEach((track) => track.stop());
    stream = video.srcObject = null;
    find(".finder").hidden = true;
    find(".open").hidden = !navigator.mediaDevices?.getUserMedia;
  };
  const open = async () => {
    find(".open").hidden = true;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment", ...MOST } });
    } catch {
      close();
      find(".hint").textContent = words.noCamera;
      return;
    }
    find(".hint").textContent = "";
    find(".finder").hidden = false;
    say({ words: words.looking });
    video.srcObject = stream;
    await video.play().catch(() => {});
    look();
  };
  const shoot = async () => {
    const [track] = stream.getVideoTracks();
    const shutter = find(".shutter");
    shutter.disabled = true;
    // A camera that takes photos takes them larger than it films; where it fails, what it films is there.
    const photo = window.ImageCapture && (await new ImageCapture(track).takePhoto().catch(() => null));
    const made = photo?.type === "image/jpeg" ? photo : await drawn(Infinity, QUALITY);
    shutter.disabled = false;
    close();
    await take(new File([made], "photo.jpg", { type: "image/jpeg" }));
  };

  find(".open").textContent = words.open;
  find(".shutter").textContent = words.shutter;
  find(".shut").textContent = words.close;
  video.setAttribute("aria-label", words.view);
  find(".open").onclick = open;
  find(".shutter").onclick = shoot;
  find(".shut").onclick = close;
  if (!stream) close();
  return {
    // Another card may have been chosen meanwhile.
    turnTo: (journal, card) => {
      url = `/camera-view?${new URLSearchParams({ journal, card })}`;
    },
  };
};
