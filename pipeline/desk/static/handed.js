// Watches a record's deliveries arrive: reads their part of the page anew while one goes on, and says what changed.

const EVERY_MS = 1000;
const AT_MOST_MS = 120_000; // then the page is left alone: a page that asks for ever would never let a sign-in end
const GOES_ON = new Set(["queued", "running", "waiting"]);

const place = document.getElementById("handed");
const told = document.getElementById("arrived");
const until = performance.now() + AT_MOST_MS;

const states = () => new Map([...place.querySelectorAll("[data-delivery]")].map((one) => [one.dataset.delivery, one.dataset.state]));

function show(part) {
  const before = states();
  const focused = place.contains(document.activeElement) ? document.activeElement.id : "";
  place.innerHTML = part;
  if (focused) document.getElementById(focused)?.focus();
  for (const one of place.querySelectorAll("[data-delivery]")) {
    if (before.get(one.dataset.delivery) !== one.dataset.state) told.textContent = one.querySelector(".how").textContent;
  }
}

async function look() {
  // Nobody's typing is taken away: an open form is left as it is.
  if (!place.querySelector("details[open]")) {
    const answer = await fetch(place.dataset.from, { redirect: "error" }).catch(() => null);
    if (answer?.ok) {
      const before = states();
      const part = await answer.text();
      const made = new DOMParser().parseFromString(part, "text/html");
      const differs = [...made.querySelectorAll("[data-delivery]")].some((one) => before.get(one.dataset.delivery) !== one.dataset.state);
      if (differs) show(part);
    }
  }
  next();
}

function next() {
  const goesOn = [...states().values()].some((state) => GOES_ON.has(state));
  if (goesOn && performance.now() < until) setTimeout(look, EVERY_MS);
}

next();
