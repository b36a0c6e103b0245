// A foot pedal, or any button that acts as a keyboard: yes, seen, and the choice of a remedy.

import { send, beginHold, endHold } from "./act.js";
import { keep, setting } from "./screen.js";

// A contact that bounces, and a foot that trembles.
const DEBOUNCE_MS = 300;
// A hand on its way to the pedal has not read a question younger than this.
const READ_MS = 500;
const HOLD_AFTER_MS = 250;

const firstSeen = new Map();
let bench = null;
let tell = () => {};
let setting_it = false;
let pressed = 0;
let down = false;
let holding = 0;
let chosen = 0;

export function begin(where) {
  bench = where.bench;
  tell = where.tell;
  const button = document.getElementById("pedal-set");
  const shown = document.getElementById("pedal-key");
  shown.textContent = named(setting("pedal"));
  button.addEventListener("click", () => {
    setting_it = true;
    shown.textContent = "press the pedal now (Escape leaves it as it was)";
  });
  document.addEventListener("keydown", (event) => {
    if (setting_it) {
      event.preventDefault();
      if (event.repeat || ["Tab", "Shift", "Control", "Alt", "Meta", "F2"].includes(event.key)) return;
      setting_it = false;
      if (event.key !== "Escape") keep("pedal", event.key);
      shown.textContent = named(setting("pedal"));
      pressed = performance.now();
      return;
    }
    if (event.key !== setting("pedal") || typing(event.target)) return;
    event.preventDefault();
    if (!event.repeat) press();
  }, true);
  document.addEventListener("keyup", (event) => {
    if (event.key === setting("pedal")) release();
  }, true);
  window.addEventListener("blur", release);
}

// Which questions are on the screen, so that a press cannot answer one that nobody has read.
export function seen(prompts) {
  const now = performance.now();
  for (const prompt of prompts) if (!firstSeen.has(prompt)) firstSeen.set(prompt, now);
  for (const prompt of [...firstSeen.keys()]) if (!prompts.includes(prompt)) firstSeen.delete(prompt);
  for (const question of bench.querySelectorAll(".question")) {
    const since = firstSeen.get(question.dataset.prompt);
    question.toggleAttribute("data-read", since !== undefined && now - since >= READ_MS);
  }
  mark();
}

function press() {
  const now = performance.now();
  if (down || now - pressed < DEBOUNCE_MS) return;
  pressed = now;
  down = true;
  const remedies = choices();
  if (remedies.length === 0) {
    answer();
    return;
  }
  // whether it is a short press or a hold is known only later
  holding = setTimeout(() => {
    const button = choices()[chosen];
    if (!button || !down) return;
    if (!button.closest(".question").hasAttribute("data-read")) {
      tell("The question is new: read it, then hold again.");
      return;
    }
    button.dataset.pedal = "1";
    beginHold(button);
  }, HOLD_AFTER_MS);
}

function release() {
  if (!down) return;
  down = false;
  clearTimeout(holding);
  const held = performance.now() - pressed;
  endHold();
  const remedies = choices();
  if (remedies.length > 0 && held < HOLD_AFTER_MS) {
    const alarm = unseen();
    if (alarm) {
      send(alarm.dataset.act);
      return;
    }
    chosen = (chosen + 1) % remedies.length;
    mark();
    tell(`Chosen: ${remedies[chosen].firstElementChild.textContent}. Hold the pedal for one second.`);
  }
}

const unseen = () => bench.querySelector(".alarm button.seen");
// With several questions open a foot cannot say which one it means.
const asked = () => [...bench.querySelectorAll(".question")];
function choices() {
  const questions = asked();
  if (questions.length !== 1) return [];
  return [...questions[0].querySelectorAll("button[data-hold]")];
}

function answer() {
  const alarm = unseen();
  if (alarm) {
    send(alarm.dataset.act);
    return;
  }
  const questions = asked();
  if (questions.length > 1) {
    tell("Several pots ask something: answer on the screen.");
    return;
  }
  const question = questions[0];
  const usual = question && question.querySelector("button.main");
  if (!usual) {
    tell("Nothing is asked now.");
    return;
  }
  if (!question.hasAttribute("data-read")) {
    tell("The question is new: read it, then press again.");
    return;
  }
  send(usual.dataset.act);
}

// The remedy that a held pedal would choose.
function mark() {
  const remedies = choices();
  if (chosen >= remedies.length) chosen = 0;
  remedies.forEach((button, index) => {
    if (index === chosen) button.setAttribute("data-chosen", "");
    else button.removeAttribute("data-chosen");
  });
}

function typing(target) {
  return target instanceof Element && target.closest("input, textarea, select, [contenteditable]") !== null;
}

function named(key) {
  const names = { " ": "Space", PageDown: "Page Down", PageUp: "Page Up", ArrowDown: "Arrow Down", ArrowUp: "Arrow Up" };
  return names[key] ?? key;
}
