// Talking to the desk. A request that nothing answered is tried again; what the desk refuses comes back as a Refusal.

export class Refusal extends Error {
  constructor(status, message) {
    super(message);
    this.status = status;
  }
}

const texts = JSON.parse(document.getElementById("texts")?.textContent ?? "{}");

/** A text of the page, with its values put in; with `n`, its form for one or for several. */
export function say(name, values = {}) {
  const found = texts[name] ?? texts[`${name}.${values.n === 1 ? "one" : "other"}`] ?? name;
  return found.replace(/\{(\w+)\}/g, (whole, key) => values[key] ?? whole);
}

const token = () => document.querySelector("[data-token]")?.dataset.token ?? "";

/** Sends until something answers; `waiting` is told when nothing does. Gives JSON; throws a Refusal. */
export async function ask(address, options = {}, waiting = () => {}) {
  for (let pause = 500; ; pause = Math.min(pause * 2, 8000)) {
    let response;
    try {
      response = await fetch(address, {
        ...options,
        headers: { Accept: "application/json", "X-Form-Token": token(), ...options.headers },
      });
    } catch {
      waiting();
      await new Promise((resolve) => setTimeout(resolve, pause));
      continue;
    }
    if (response.redirected && new URL(response.url).pathname === "/sign-in") throw new Refusal(401, "");
    const data = await response.json().catch(() => ({}));
    if (!response.ok) throw new Refusal(response.status, data.message ?? response.statusText);
    return data;
  }
}

/** Sends a value as JSON. */
export function send(address, value, waiting) {
  const body = JSON.stringify(value);
  return ask(address, { method: "POST", body, headers: { "Content-Type": "application/json" } }, waiting);
}
