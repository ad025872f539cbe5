// Every page: the worker that keeps a shell for a lost network, and a menu that closes when one turns away from it.

if ("serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.register("/worker.js").catch(() => {
    // Without a worker everything goes on, but for the page that stands in for a lost network.
  });
}

const menu = document.querySelector("details.self");
if (menu) {
  document.addEventListener("click", (event) => {
    if (!menu.contains(event.target)) menu.open = false;
  });
  menu.addEventListener("keydown", (event) => {
    if (event.key === "Escape") {
      menu.open = false;
      menu.querySelector("summary").focus();
    }
  });
}
