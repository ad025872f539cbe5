// Tells on the page before the exam room that sound of an examination waits in this browser, and leads to its room.

import { Outbox } from "./outbox.js";

const place = document.getElementById("waiting");
const visits = await Outbox.visits();
for (const visit of visits) {
  const link = Object.assign(document.createElement("a"), { href: `/room/${visit}?stay`, textContent: place.dataset.link });
  place.append(" ", link);
}
place.hidden = !visits.length;
