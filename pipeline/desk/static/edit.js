// The form of a fact: where it opens, lists to pick from, saying it again; it goes only when its content was taken.

import { Refusal, ask, say } from "./net.js";
import { listenOnce } from "./again.js";

/** Opens the form that `source` gives in `place`. `take` gets the board that came of it; `conflict` is told when somebody was faster. */
export async function openForm({ source, place, back, revision, order, away, take, conflict }) {
  const response = await fetch(source, { headers: { Accept: "text/html" } });
  if (!response.ok) throw new Refusal(response.status, (await response.json().catch(() => ({}))).message ?? "");
  const holder = document.createElement("template");
  holder.innerHTML = (await response.text()).trim();
  const form = holder.content.firstElementChild;
  place.append(form);
  for (const field of form.querySelectorAll(".pick")) pickFrom(field);
  listenOnce(form);
  form.querySelector("input:not([type=hidden]), select").focus();
  form.querySelector("input:not([type=hidden])")?.select?.();

  const leave = () => {
    form.remove();
    (back.isConnected ? back : place).focus();
  };
  form.querySelector(".leave").addEventListener("click", leave);
  form.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !event.defaultPrevented) leave();
  });
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const fault = form.querySelector(".told");
    const data = new FormData(form);
    data.set("revision", revision());
    data.set("order", order());
    const button = form.querySelector("button.main");
    button.disabled = true;
    try {
      const body = new URLSearchParams(data);
      const answer = await ask(form.getAttribute("action"), { method: "POST", body }, away);
      const fact = form.closest(".fact");
      form.remove();
      fact?.focus({ preventScroll: true });
      take(answer);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      if (error.status === 409) await conflict(error.message);
      fault.textContent = error.message;
      fault.hidden = false;
      fault.scrollIntoView({ block: "nearest" });
    } finally {
      button.disabled = false;
    }
  });
}

/** A field that picks from the lexicon (ARIA combobox with a list). What is not picked can be kept in one's own words. */
function pickFrom(field) {
  const input = field.querySelector("[role=combobox]");
  const hidden = field.querySelector("input[type=hidden]");
  const list = field.querySelector("[role=listbox]");
  const status = field.querySelector("[role=status]");
  const form = field.closest("form");
  const own = "own" in field.dataset;
  let shown = { text: input.value, id: hidden.value };
  let at = -1;
  let asked = 0;

  const close = () => {
    list.hidden = true;
    input.setAttribute("aria-expanded", "false");
    input.removeAttribute("aria-activedescendant");
    at = -1;
  };
  const choose = (option) => {
    input.value = option.dataset.label;
    hidden.value = option.dataset.id;
    shown = { text: input.value, id: hidden.value };
    const system = form.querySelector("[name=system]");
    if (option.dataset.system && option.dataset.system !== "any" && system && (own || !system.value)) system.value = option.dataset.system;
    const words = form.querySelector(".own_words");
    if (own && words) words.hidden = hidden.value !== "unlisted";
    close();
  };
  const mark = (to) => {
    const options = [...list.children];
    if (!options.length) return;
    options[at]?.setAttribute("aria-selected", "false");
    at = (to + options.length) % options.length;
    options[at].setAttribute("aria-selected", "true");
    options[at].scrollIntoView({ block: "nearest" });
    input.setAttribute("aria-activedescendant", options[at].id);
  };
  const option = (id, label, more, system) => {
    const item = document.createElement("li");
    item.role = "option";
    item.id = `${list.id}_${list.children.length}`;
    item.setAttribute("aria-selected", "false");
    Object.assign(item.dataset, { id, label, system: system ?? "" });
    item.append(label);
    if (more) {
      const beside = document.createElement("small");
      beside.textContent = more;
      item.append(" ", beside);
    }
    list.append(item);
  };
  const look = async () => {
    const words = input.value.trim();
    const mine = ++asked;
    if (!words) {
      if (!own) hidden.value = "";
      return close();
    }
    const system = form.querySelector("[name=system]")?.value ?? "";
    const query = new URLSearchParams({ words, ...(system && { system }) });
    const found = await ask(`${field.dataset.pick}?${query}`).catch(() => []);
    if (mine !== asked) return;
    list.replaceChildren();
    for (const one of found) option(one.id, one.label, one.term === one.label.toLowerCase() ? one.plain : one.term, one.system);
    if (own) option("unlisted", words, say("edit.own_words", { words }), "");
    status.textContent = found.length ? say("edit.choices", { n: found.length }) : say("edit.choices_none");
    list.hidden = !list.children.length;
    input.setAttribute("aria-expanded", String(!list.hidden));
    at = -1;
  };

  let timer;
  input.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(look, 120);
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list.hidden) look();
      else mark(event.key === "ArrowDown" ? at + 1 : at - (at < 0 ? 0 : 1));
    } else if (event.key === "Enter" && !list.hidden && at >= 0) {
      event.preventDefault();
      choose(list.children[at]);
    } else if (event.key === "Escape" && !list.hidden) {
      event.preventDefault();
      close();
    }
  });
  list.addEventListener("mousedown", (event) => event.preventDefault());
  list.addEventListener("click", (event) => {
    const chosen = event.target.closest("[role=option]");
    if (chosen) choose(chosen);
  });
  field.addEventListener("filled", () => {
    shown = { text: input.value, id: hidden.value };
  });
  input.addEventListener("blur", () => {
    close();
    // Words that were typed and not picked: a finding in one's own words; a part goes back to what it was.
    if (input.value.trim() === shown.text) return;
    if (own) {
      hidden.value = "unlisted";
      shown = { text: input.value.trim(), id: "unlisted" };
      form.querySelector(".own_words").hidden = false;
    } else if (input.value.trim()) {
      input.value = shown.text;
      hidden.value = shown.id;
    } else {
      hidden.value = "";
      shown = { text: "", id: "" };
    }
  });
}
