// Streamlit's talk with a framed component, which is plain messages between the frame and its page.
const say = (type, more) => parent.postMessage({ isStreamlitMessage: true, type, ...more }, "*");
window.addEventListener("message", ({ data }) => {
  if (data.type !== "streamlit:render") return;
  const drawn = document.querySelector("canvas");
  drawn.getContext("2d").fillRect(0, 0, 10, 10);
  drawn.toBlob((blob) => {
    const picture = new Image();
    picture.onload = () => (document.body.dataset.picture = picture.width);
    picture.src = URL.createObjectURL(blob);
  });
  say("streamlit:setFrameHeight", { height: 120 });
});
document.querySelector("button").addEventListener("click", () => {
  const colour = getComputedStyle(document.querySelector("button")).color;
  say("streamlit:setComponentValue", { dataType: "json", value: `heard: ${colour}, ${document.body.dataset.picture}` });
});
say("streamlit:componentReady", { apiVersion: 1 });
