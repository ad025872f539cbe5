// The forms of patients and owners: nothing typed is lost to a lost network, a sign-in that ended, or a page that is left.

const form = document.querySelector("form.entry");
const told = document.getElementById("told");
let typed = false;
let sending = false;

/** A fresh token for the form; null, and a word about it, while the desk cannot take it. */
async function token() {
  let answer;
  try {
    answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
  } catch {
    return tell(told.dataset.away);
  }
  if (new URL(answer.url).pathname === "/sign-in") return tell(told.dataset.out, "/sign-in");
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const fresh = page.querySelector("[name=form_token]");
  return fresh ? fresh.value : tell(told.dataset.away);
}

function tell(text, address) {
  told.textContent = text;
  if (address) {
    const link = document.createElement("a");
    Object.assign(link, { href: address, target: "_blank", rel: "noopener", textContent: address });
    told.append(" ", link);
  }
  told.hidden = false;
  told.scrollIntoView({ block: "center" });
  return null;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (sending) return;
  sending = true;
  told.hidden = true;
  const fresh = await token();
  sending = fresh !== null;
  if (fresh === null) return;
  form.elements.form_token.value = fresh;
  if (event.submitter?.name) {
    const pressed = document.createElement("input");
    Object.assign(pressed, { type: "hidden", name: event.submitter.name, value: event.submitter.value });
    form.append(pressed);
  }
  typed = false;
  form.submit();
});

form.addEventListener("input", (event) => {
  typed = true;
  const name = event.target.name;
  // Who types an owner means that one.
  if (name?.startsWith("owner_")) {
    const fresh = form.querySelector('[name=owner][value="new"]');
    if (fresh && event.target.value) fresh.checked = true;
  }
  if (name === "species_other" && event.target.value) form.querySelector('[name=species][value="other"]').checked = true;
});

addEventListener("beforeunload", (event) => {
  if (typed) event.preventDefault();
});

// What one goes back to is the form as it was left, and can be sent again.
addEventListener("pageshow", () => {
  sending = false;
});

// A scanner types the number and Enter: that ends the field, not the form.
form.elements.microchip?.addEventListener("keydown", (event) => {
  if (event.key !== "Enter") return;
  event.preventDefault();
  form.elements.weight_kg.focus();
});
