// What concerns this screen alone: kept in this browser, told to nobody.

const DEFAULTS = { volume: "80", rate: "100", voice: "", theme: "", pedal: "PageDown" };
const card = document.getElementById("card");

export function setting(name) {
  return localStorage.getItem(name) ?? DEFAULTS[name];
}

export function keep(name, value) {
  localStorage.setItem(name, value);
}

export function openCard() {
  if (card.open) return;
  if (card.showModal) card.showModal();
  else card.setAttribute("open", "");
}

export function begin({ onSplash }) {
  for (const name of ["volume", "rate", "voice", "theme"]) {
    const field = document.getElementById(name);
    field.value = setting(name);
    field.addEventListener("change", () => {
      keep(name, field.value);
      if (name === "theme") theme();
    });
  }
  voices();
  if (window.speechSynthesis) speechSynthesis.addEventListener("voiceschanged", voices);
  const splash = () => { openCard(); onSplash(); };
  document.getElementById("splash").addEventListener("click", splash);
  document.addEventListener("keydown", (event) => {
    if (event.key === "F2" && !event.repeat) {
      event.preventDefault();
      splash();
    }
  });
  document.getElementById("card-close").addEventListener("click", () => {
    if (card.close) card.close();
    else card.removeAttribute("open");
  });
  stayAwake();
}

function theme() {
  const chosen = setting("theme");
  if (chosen) document.documentElement.dataset.theme = chosen;
  else delete document.documentElement.dataset.theme;
}

function voices() {
  const field = document.getElementById("voice");
  if (!window.speechSynthesis) return;
  const known = new Set([...field.options].map((option) => option.value));
  for (const voice of speechSynthesis.getVoices()) {
    if (!voice.lang.startsWith("en") || known.has(voice.voiceURI)) continue;
    field.add(new Option(`${voice.name} (${voice.lang})`, voice.voiceURI));
  }
  field.value = setting("voice");
}

// --- a screen that goes dark beside a pot is of no use ------------------------------------------

const wake = document.getElementById("wake-state");

async function stayAwake() {
  if (!("wakeLock" in navigator)) {
    wake.textContent = window.isSecureContext
      ? "This browser cannot keep the screen awake: set the device's screen to stay on."
      : "Over plain http a browser may not keep the screen awake: set the device's screen to stay on.";
    return;
  }
  try {
    const lock = await navigator.wakeLock.request("screen");
    wake.textContent = "The screen stays awake.";
    lock.addEventListener("release", () => { wake.textContent = "The screen may go dark."; });
  } catch {
    wake.textContent = "The device refuses to keep the screen awake: set its screen to stay on.";
  }
}

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") stayAwake();
});
