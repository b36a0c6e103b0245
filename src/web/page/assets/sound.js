// Tones, alarm bursts and speech by the browser's own interfaces. The rhythms are ours; no standard
// of alarm sounds is claimed.

import { post, tell } from "./act.js";
import { setting } from "./screen.js";

const PULSE_MS = 4000;
const state = document.getElementById("sound-state");
const onButton = document.getElementById("sound-on");
const question = document.getElementById("heard");

let context = null;
let volume = null;
let screen = null;
let passed = false;
let lastWords = "";
let lostTimer = 0;
let pouring = { how: "none", share: 1 };
let tick = 0;

// Bursts: [pitch in Hz, begins after, lasts], in seconds.
const BURSTS = {
  high: [0, 0.16, 0.32, 0.64, 0.8, 1.3, 1.46, 1.62, 1.94, 2.1].map((at) => [880, at, 0.11]),
  medium: [0, 0.25, 0.5].map((at) => [660, at, 0.17]),
  low: [0, 0.35].map((at) => [440, at, 0.25]),
};
const STOP = [[740, 0, 0.14], [494, 0.16, 0.3]];
const TEST = [[440, 0, 0.3], [554, 0.35, 0.3], [659, 0.7, 0.5]];
const LOST = [[330, 0, 0.5], [262, 0.55, 0.7]];

export function begin() {
  onButton.addEventListener("click", test);
  document.getElementById("again").addEventListener("click", () => say(lastWords || "Nothing was said yet."));
  document.getElementById("heard-yes").addEventListener("click", () => answered(true));
  document.getElementById("heard-no").addEventListener("click", () => answered(false));
  // a page loaded anew may have to be touched before it is heard again
  if (sessionStorage.getItem("heard")) open();
  for (const touch of ["pointerdown", "keydown"]) {
    document.addEventListener(touch, () => { if (context && !running()) context.resume(); });
  }
  setInterval(pulse, PULSE_MS);
  beatPour();
  show();
}

// A stream has begun: the daemon knows nothing yet of this screen's sound.
export function listen(id) {
  screen = id;
  pulse();
}

const running = () => context !== null && context.state === "running";

function open() {
  if (!context) {
    context = new AudioContext();
    volume = context.createGain();
    volume.connect(context.destination);
    context.addEventListener("statechange", () => { report(); show(); });
  }
  volume.gain.value = setting("volume") / 100;
  return context.resume();
}

function play(notes) {
  if (!running()) return;
  volume.gain.value = setting("volume") / 100;
  for (const [pitch, after, lasts] of notes) {
    const from = context.currentTime + after;
    const tone = context.createOscillator();
    const shape = context.createGain();
    tone.type = "triangle";
    tone.frequency.value = pitch;
    shape.gain.setValueAtTime(0, from);
    shape.gain.linearRampToValueAtTime(0.9, from + 0.012);
    shape.gain.setValueAtTime(0.9, from + lasts - 0.02);
    shape.gain.linearRampToValueAtTime(0, from + lasts);
    tone.connect(shape).connect(volume);
    tone.start(from);
    tone.stop(from + lasts + 0.02);
  }
}

export function say(words, urgent = false) {
  if (!words) return;
  lastWords = words;
  if (!passed || !window.speechSynthesis) return;
  if (urgent) speechSynthesis.cancel();
  const speech = new SpeechSynthesisUtterance(words);
  speech.lang = "en";
  speech.rate = setting("rate") / 100;
  speech.volume = setting("volume") / 100;
  const wanted = setting("voice");
  speech.voice = speechSynthesis.getVoices().find((voice) => voice.voiceURI === wanted) || null;
  speechSynthesis.speak(speech);
}

export function cue(cue, spoken) {
  if (cue === "hush") {
    if (window.speechSynthesis) speechSynthesis.cancel();
    return;
  }
  if (cue === "stop") play(STOP);
  if (cue && cue.sound) play(BURSTS[cue.sound.priority] || BURSTS.high);
  say(spoken, cue === "stop" || cue === "emergency" || Boolean(cue && cue.sound));
}

// --- the pour tone: quickens as less is left, and stops with the pour -------------------------

export function pour(bench) {
  const pots = [...bench.querySelectorAll(".pot")];
  const pot = pots.find((each) => each.dataset.pour !== "none");
  pouring = pot ? { how: pot.dataset.pour, share: Number(pot.dataset.share) } : { how: "none", share: 1 };
}

// From one tick a second at half of the pour to ten in its last hundredths.
export function tickEvery(share) {
  return Math.max(95, Math.min(1000, 80 + share * 1850));
}

function beatPour() {
  clearTimeout(tick);
  const heard = pouring.how === "free" || pouring.how === "slow";
  if (heard && pouring.share < 0.5) {
    play([[pouring.how === "slow" ? 1047 : 784, 0, 0.05]]);
  }
  tick = setTimeout(beatPour, heard ? tickEvery(pouring.share) : 150);
}

// --- a lost daemon is heard, not only seen ----------------------------------------------------

export function lost(words) {
  pouring = { how: "none", share: 1 };
  screen = null;
  play(LOST);
  say(words, true);
  clearInterval(lostTimer);
  lostTimer = setInterval(() => play(LOST), 5000);
}

export function found() {
  clearInterval(lostTimer);
  say("The daemon is back.");
}

// --- the test, and what the daemon knows of it -------------------------------------------------

async function test() {
  await open();
  if (!running()) {
    show();
    return;
  }
  play(TEST);
  const before = passed;
  passed = true; // for this one sentence
  say("Sound test. Did you hear this?", true);
  passed = before;
  question.hidden = false;
  document.getElementById("heard-yes").focus();
  show();
}

function answered(yes) {
  question.hidden = true;
  onButton.focus();
  passed = yes && running();
  if (passed) sessionStorage.setItem("heard", "yes");
  report();
  show();
  if (!yes) tell("Turn the volume up, here and on the device, and test again.");
}

function report() {
  if (screen === null) return;
  const body = { screen, audible: passed && running() };
  // the next pulse says it again
  post("/hearing", body).catch(() => {});
}

function pulse() {
  if (passed) report();
}

function show() {
  let words = "Sound is not tested on this screen.";
  if (context && !running()) {
    words = "The browser blocks sound until this page is touched.";
  } else if (passed) {
    words = "Sound is on, and was heard.";
  }
  if (state.textContent !== words) state.textContent = words;
}
