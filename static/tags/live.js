// Live scanning, where the browser can read QR codes itself and lends its camera (https or localhost). The control shows
// only there. Nothing that is read is followed: the six characters at the end of a tag's address are looked up here.
const panel = document.querySelector("[data-live]");
const video = panel?.querySelector("video");
const says = panel?.querySelector("[data-live-says]");
const choice = panel?.querySelector("[data-live-choice]");
const start = panel?.querySelector("[data-live-start]");
const torch = panel?.querySelector("[data-live-torch]");
const EVERY = 150; // milliseconds between looks: the phone stays cool, and the wait is not noticed
const ALPHABET = "234679ACDEFGHJKMNPQRTUVWXYZ";
const VALUES = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*";
let stream = null;

/** The code at the end of a tag's address, whatever its host; its check is ISO/IEC 7064 MOD 37-2, as on the server. */
export function codeIn(text) {
  const match = /\/t\/([0-9a-z]{6})\/?(?:[?#]\S*)?$/i.exec(text.trim());
  const code = match?.[1].toUpperCase();
  if (!code || [...code].some((character) => !ALPHABET.includes(character))) return null;
  let sum = 0;
  for (const character of code.slice(0, -1)) sum = (2 * (sum + VALUES.indexOf(character))) % 37;
  return (sum + VALUES.indexOf(code.at(-1))) % 37 === 1 ? code : null;
}

function address(code) {
  const url = new URL(panel.dataset.live, location.href);
  url.searchParams.set("code", code);
  return url.pathname + url.search;
}

function offer(codes) {
  choice.replaceChildren(...codes.map((code) => {
    const line = document.createElement("li");
    const link = document.createElement("a");
    link.className = "btn plain";
    link.href = address(code);
    link.textContent = `${code.slice(0, 3)} ${code.slice(3)}`;
    line.append(link);
    return line;
  }));
}

function stop() {
  stream?.getTracks().forEach((track) => track.stop());
  stream = null;
  video.srcObject = null;
  video.hidden = torch.hidden = true;
  torch.setAttribute("aria-pressed", "false");
  start.hidden = false;
}

function openTags(detected) {
  const texts = detected.map((each) => each.rawValue);
  const codes = [...new Set(texts.map(codeIn).filter(Boolean))];
  if (codes.length === 1) {
    stop();
    location.assign(address(codes[0]));
  } else if (codes.length > 1) {
    stop();
    says.textContent = "Several tags are in the picture. Which one?";
    offer(codes);
  } else if (texts.length) {
    says.textContent = `Not a tag of ours: ${texts[0].slice(0, 100)}`;
  }
}

async function look(detector) {
  if (!stream) return;
  try {
    if (video.readyState >= 2) openTags(await detector.detect(video));
  } catch { /* A frame that cannot be read; the next one comes. */ }
  if (stream) setTimeout(look, EVERY, detector);
}

async function begin(detector) {
  says.textContent = "";
  choice.replaceChildren();
  try {
    stream = await navigator.mediaDevices.getUserMedia({
      video: { facingMode: { ideal: "environment" }, width: { ideal: 1920 } },
    });
  } catch {
    says.textContent = "The camera was not lent. Take a photo instead, or type the code.";
    return;
  }
  video.srcObject = stream;
  video.hidden = false;
  start.hidden = true;
  await video.play();
  torch.hidden = !stream.getVideoTracks()[0].getCapabilities?.().torch;
  look(detector);
}

async function light() {
  const on = torch.getAttribute("aria-pressed") !== "true";
  await stream.getVideoTracks()[0].applyConstraints({ advanced: [{ torch: on }] });
  torch.setAttribute("aria-pressed", String(on));
}

async function canWork() {
  if (!panel || !navigator.mediaDevices?.getUserMedia || !("BarcodeDetector" in window)) return false;
  return (await BarcodeDetector.getSupportedFormats()).includes("qr_code");
}

if (await canWork().catch(() => false)) {
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  start.addEventListener("click", () => begin(detector));
  torch.addEventListener("click", light);
  document.addEventListener("visibilitychange", () => document.hidden && stop());
  addEventListener("pagehide", stop);
  panel.hidden = false;
}
