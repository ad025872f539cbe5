// What the server understood, as it is shown. Nothing is decided here.

import { say } from "./net.js";

const part = (id) => document.getElementById(id);

function made(name, kind, ...inside) {
  const element = document.createElement(name);
  if (kind) element.className = kind;
  element.append(...inside);
  return element;
}

/** The sign of a state, as the templates have it. */
function sign(state) {
  return document.querySelector(`#signs [data-sign="${state}"]`).firstElementChild.cloneNode(true);
}

/** Shows the parts of the news that changed. */
export function show({ heard, level, waits_s: waits, length_s: length, record }) {
  if (heard) showHeard(heard);
  if (level) showFault(level.fault);
  if (waits !== undefined) part("waits").textContent = waits >= 5 ? say("room.waits", { n: waits }) : "";
  if (length !== undefined) part("length").textContent = `${Math.floor(length / 60)}:${String(length % 60).padStart(2, "0")}`;
  if (record?.systems) showRecord(record);
}

function showFault(fault) {
  const place = part("level_told");
  const text = say(fault ? "room.fault_" + fault.replace(" ", "_") : "room.level_good");
  place.classList.toggle("fault", Boolean(fault));
  if (place.textContent !== text) place.textContent = text;
}

function showHeard({ said, speaking }) {
  const now = speaking || said.at(-1) || "";
  const before = speaking ? said.slice(-1) : said.slice(-2, -1);
  const place = part("now");
  place.classList.toggle("passing", Boolean(speaking));
  place.classList.toggle("long", now.length > 90);
  place.textContent = tail(now) || say("room.nothing_yet");
  part("before").textContent = tail(before[0] ?? "");
}

/** The end of a long stretch: what was said last is what is looked for. */
const tail = (text) => (text.length > 150 ? `… ${text.slice(text.indexOf(" ", text.length - 150) + 1)}` : text);

let latest = 0;

function showRecord({ systems, values, missing }) {
  for (const one of systems) {
    const state = one.state === "not_mentioned" && one.missing ? "missing" : one.state;
    const word = say("room.state_" + state);
    const place = document.querySelector(`.figure [data-system="${one.system}"]`);
    place.dataset.is = state;
    place.querySelector("use").setAttribute("href", `#sign_${state}`);
    place.querySelector(".word").textContent = word;
    const line = document.querySelector(`#systems [data-system="${one.system}"]`);
    line.dataset.is = state;
    // What was spoken of last comes first for the eye; the order of the page stays from nose to tail.
    const told = JSON.stringify(one.findings) + state;
    if (line.dataset.told !== undefined && line.dataset.told !== told) line.style.order = --latest;
    line.dataset.told = told;
    const findings = one.findings.map(({ text, abnormal }) => made("li", abnormal ? "abnormal" : "", text));
    line.replaceChildren(
      sign(state),
      made("div", "", made("strong", "", one.name), " ", made("span", "word", word), made("ul", "", ...findings)),
    );
  }
  part("values").replaceChildren(...values.map(value));
  part("no_values").hidden = values.length > 0;
  part("missing").replaceChildren(...missing.map((text) => made("li", "", text)));
  part("none_missing").hidden = missing.length > 0;
}

function value({ label, text, status }) {
  const known = ["low", "high", "implausible"].includes(status);
  const tile = made("div", known ? `value ${status}` : "value", made("dt", "", label), made("dd", "", text));
  if (known) tile.append(made("dd", "status", sign("abnormal"), say(`status.${status}`)));
  return tile;
}

/** How loud it is now, from a peak of 0 to 1: bars from -60 dB on. */
export function showLevel(peak) {
  const db = peak > 0 ? 20 * Math.log10(peak) : -100;
  const bars = [...part("level").children];
  const lit = Math.round(((db + 60) / 60) * bars.length);
  bars.forEach((bar, at) => bar.classList.toggle("lit", at < lit));
}
