// Installs the service worker and asks it to fetch the pages of today's work, so that they open
// without a network. Runs after the page is shown and only when the network is there.
(() => {
  "use strict";
  // Only over TLS or on the machine itself; elsewhere the queue works, but no page opens offline.
  if (!("serviceWorker" in navigator) || !document.body.dataset.account) return;
  const ask = async () => {
    await navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" });
    const ready = await navigator.serviceWorker.ready;
    if (navigator.onLine && !navigator.connection?.saveData) ready.active.postMessage("keep");
  };
  navigator.serviceWorker.addEventListener("message", ({ data }) => {
    if (data?.of) document.documentElement.dataset.kept = `${data.kept} of ${data.of}`;
  });
  // Without a network the worker that is there goes on as it is.
  window.addEventListener("load", () => setTimeout(() => ask().catch(() => {}), 300));
})();
