// The review of one record. The server lays the board out; this sends what a reviewer does and puts the new board in its place,
// with the focus where it was. What somebody typed stays in its form until the server has taken it.

import { Refusal, ask, say, send } from "./net.js";
import { openForm } from "./edit.js";
import { player } from "./player.js";

const board = document.getElementById("board");
const told = document.getElementById("told");
const address = `/records/${board.dataset.record}`;
const review = () => board.querySelector(".review");
const revision = () => Number(review()?.dataset.revision);
const order = () => review()?.dataset.order ?? "body";
const lines = () => [...board.querySelectorAll(".fact[data-fact]")];
const line = (id) => board.querySelector(`.fact[data-fact="${CSS.escape(id)}"]`);

let busy = Promise.resolve();

function tell(message, kind = "doubt") {
  if (!told) return;
  told.className = `told ${kind}`;
  told.textContent = message;
  told.hidden = !message;
}

const away = () => tell(say("board.gone"), "bad");

/** Puts a board in the place of the one shown; forms that are open go over into it with what was typed. */
function show({ board: html }) {
  const held = [...board.querySelectorAll("form.edit, form.ask")].map((form) => ({ form, place: placeOf(form) }));
  const focus = document.activeElement;
  const id = focus?.closest?.(".fact")?.dataset.fact;
  const index = id === undefined ? -1 : lines().findIndex((one) => one.dataset.fact === id);
  const top = scrollY;
  const password = board.querySelector("#password")?.value;
  board.innerHTML = html;
  for (const { form, place } of held) (find(place) ?? board.querySelector(".body")).append(form);
  if (password) {
    const field = board.querySelector("#password");
    if (field) field.value = password;
  }
  scrollTo(0, top);
  if (held.some(({ form }) => form.contains(focus))) focus.focus({ preventScroll: true });
  else if (id !== undefined) (line(id) ?? lines()[Math.min(index, lines().length - 1)])?.focus({ preventScroll: true });
  player.connect(board);
}

function placeOf(form) {
  const fact = form.closest(".fact")?.dataset.fact;
  const notice = form.closest(".notice")?.dataset.notice;
  return { fact, notice, section: form.closest("section[id]")?.id };
}

function find({ fact, notice, section }) {
  if (fact) return line(fact);
  if (notice) return board.querySelector(`[data-notice="${CSS.escape(notice)}"]`);
  return section ? document.getElementById(section) : null;
}

/** Does operations one after the other. When somebody was faster, what was decided on is done again only if it is as it was seen. */
function perform(operations) {
  const seen = operations.map((one) => (one.fact ? line(one.fact)?.dataset.digest : undefined));
  busy = busy.then(() => attempt(operations, seen)).catch(refused);
  return busy;
}

async function attempt(operations, seen, again = false) {
  const deeds = () => send(`${address}/do`, { revision: revision(), operations, order: order() }, away);
  try {
    show(await deeds());
    tell(again ? say("board.conflict_redone") : "");
  } catch (error) {
    if (!(error instanceof Refusal) || error.status !== 409) throw error;
    show(await ask(`${address}/board?order=${order()}`, {}, away));
    const same = operations.every((one, at) => one.fact && line(one.fact)?.dataset.digest === seen[at]);
    if (!same || again) throw error;
    await attempt(operations, seen, true);
  }
}

function refused(error) {
  if (!(error instanceof Refusal)) throw error;
  if (error.status === 401) location.assign(`/sign-in?next=${encodeURIComponent(location.pathname)}`);
  tell(error.status === 409 ? say("board.conflict", { what: error.message }) : error.message, "bad");
}

// --- what is clicked ---------------------------------------------------------------------------------------------

board.addEventListener("click", (event) => {
  const button = event.target.closest("button, a[data-order]");
  if (!button) return;
  const { do: deed, confirm, form, ask: question, order: wanted } = button.dataset;
  if (deed) step(button, () => perform([JSON.parse(deed)]));
  else if (confirm) perform(confirm.split(" ").map((fact) => ({ do: "accept", fact })));
  else if (form) edit(button, form);
  else if (question) askReason(button, JSON.parse(question));
  else if (wanted) {
    event.preventDefault();
    ask(`${address}/board?order=${wanted}`, {}, away).then((answer) => {
      show(answer);
      history.replaceState(null, "", `?order=${wanted}`);
      lines()[0]?.focus();
    }).catch(refused);
  }
});

/** A button vanishes when it has done its work: the focus goes to its line first. */
function step(button, work) {
  button.closest(".fact, .notice")?.focus({ preventScroll: true });
  return work();
}

async function edit(button, source) {
  const place = button.closest(".fact, .notice, section");
  if (place.querySelector("form.edit")) return place.querySelector("form.edit input:not([type=hidden])").focus();
  try {
    await openForm({ source, place, back: button, revision, order, away, take: (answer) => (show(answer), tell("")) ,
      conflict: async (message) => {
        show(await ask(`${address}/board?order=${order()}`, {}, away));
        tell(say("board.conflict", { what: message }), "bad");
      } });
  } catch (error) {
    refused(error);
  }
}

/** Asks for the reason that an operation needs. */
function askReason(button, operation) {
  const place = button.closest(".notice, section");
  if (place.querySelector("form.ask")) return place.querySelector("form.ask input").focus();
  const form = document.createElement("form");
  form.className = "ask";
  const id = `reason_${Math.random().toString(36).slice(2)}`;
  form.innerHTML = `<label for="${id}"></label><input id="${id}" required maxlength="2000" autocomplete="off" list="${id}_l">
    <datalist id="${id}_l"></datalist><button class="main"></button>`;
  form.querySelector("label").textContent = say("board.reason");
  form.querySelector("button").textContent = say("board.keep");
  for (const usual of say("board.reasons").split(";")) form.querySelector("datalist").append(new Option(usual.trim(), usual.trim()));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const reason = form.querySelector("input").value;
    const next = place.nextElementSibling;
    await perform([{ ...operation, reason }]);
    const kept = board.querySelector(".notices .notice") ?? document.getElementById("sign");
    (next?.isConnected ? next : kept)?.focus();
    if (!board.querySelector(`[data-notice="${CSS.escape(operation.notice ?? "")}"]`)) form.remove();
  });
  form.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      event.stopPropagation();
      form.remove();
      button.focus();
    }
  });
  place.append(form);
  form.querySelector("input").focus();
}

// --- keys --------------------------------------------------------------------------------------------------------

const keys = document.getElementById("keys");
const single = document.getElementById("single");
if (keys) {
  single.checked = localStorage.getItem("single_keys") !== "off";
  single.addEventListener("change", () => localStorage.setItem("single_keys", single.checked ? "on" : "off"));
  document.getElementById("keys_open").addEventListener("click", () => keys.showModal());
  document.getElementById("keys_close").addEventListener("click", () => keys.close());
}

const here = () => document.activeElement?.closest?.(".fact");
const press = (selector) => here()?.querySelector(selector)?.click();

function move(by) {
  const all = lines();
  const at = all.indexOf(here());
  const to = at < 0 ? (by > 0 ? 0 : all.length - 1) : Math.min(Math.max(at + by, 0), all.length - 1);
  go(all[to]);
}

function go(element) {
  if (!element) return;
  element.focus({ preventScroll: true });
  element.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
}

/** The next line that nobody decided on: unsure ones of the whole record first, then the others. */
function next() {
  const open = lines().filter((one) => "open" in one.dataset);
  const unsure = open.filter((one) => one.classList.contains("doubtful"));
  const among = unsure.length ? unsure : open;
  const at = lines().indexOf(here());
  go(among.find((one) => lines().indexOf(one) > at) ?? among[0] ?? document.getElementById("sign"));
}

const deeds = {
  n: next,
  j: () => move(1),
  k: () => move(-1),
  ArrowDown: () => move(1),
  ArrowUp: () => move(-1),
  y: () => press(".yes"),
  x: () => press(".no"),
  e: () => press(".edit"),
  Enter: () => press(".edit"),
  u: () => press("[data-do*='restore']"),
  " ": () => (here()?.querySelector(".hear") ? press(".hear") : player.toggle()),
  A: () => document.getElementById("certain")?.click(),
  q: () => {
    const all = [...board.querySelectorAll(".notices .notice")];
    go(all[(all.indexOf(document.activeElement?.closest?.(".notice")) + 1) % all.length]);
  },
  o: () => board.querySelector("a[data-order]:not([aria-current])")?.click(),
  s: () => {
    go(document.getElementById("sign"));
    document.querySelector("#sign #reason, #sign #password")?.focus();
  },
  "?": () => keys?.showModal(),
};

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.defaultPrevented || keys?.open) return;
  if (single && !single.checked) return;
  const target = event.target;
  if (target.closest("input, select, textarea, dialog, audio")) return;
  const onControl = target.closest("button, a, summary");
  if (onControl && ["Enter", " "].includes(event.key)) return;
  if (event.key.startsWith("Arrow") && !target.closest(".fact") && target !== document.body) return;
  const deed = deeds[event.key];
  if (!deed || !review()) return;
  event.preventDefault();
  deed();
});

// --- the recording, the last examination ---------------------------------------------------------------------------

player.connect(board);

const beside = document.getElementById("beside");
if (beside) {
  fetch(beside.dataset.from).then((answer) => (answer.ok ? answer.text() : "")).then((html) => {
    beside.innerHTML = html;
  }).catch(() => {
    // The comparison is beside the work: without it the record can still be reviewed.
  });
}
