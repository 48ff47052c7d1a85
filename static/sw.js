// The service worker: the desk's pages open without a network once they were visited, and those of
// today's work are fetched beforehand. It answers only for the desk: never for a lab link, a scan, or
// the public's pages. The server writes RELEASE and FILES in front of this text.
"use strict";
const PAGES = `pages-${RELEASE}`;
const KEPT = `files-${RELEASE}`;
const PATIENCE_MS = 4000;
const OFFLINE = "/offline";

const isHtml = (answer) => (answer.headers.get("content-type") ?? "").startsWith("text/html");
const mayKeep = (answer) => answer.ok && answer.type === "basic" && !answer.redirected && isHtml(answer)
  && !(answer.headers.get("cache-control") ?? "").includes("no-store");

// A round's page is the same whatever piece it begins with.
const keyOf = (address) => {
  const url = new URL(address, location.origin);
  url.hash = "";
  for (const passing of ["at", "after", "change", "mend"]) url.searchParams.delete(passing);
  return url.href;
};

// What the release before kept comes along: its pages name its files, until they are fetched anew.
const takeOver = async (name, from) => {
  const fresh = await caches.open(name);
  const olds = (await caches.keys()).filter((other) => other.startsWith(from) && other !== name);
  for (const old of olds) {
    const cache = await caches.open(old);
    for (const request of await cache.keys()) {
      if (!(await fresh.match(request))) await fresh.put(request, await cache.match(request));
    }
  }
};

const install = async () => {
  const files = await caches.open(KEPT);
  await files.addAll([...FILES, OFFLINE]);
  await takeOver(KEPT, "files-");
  await takeOver(PAGES, "pages-");
  await self.skipWaiting();
};

const activate = async () => {
  const ours = [PAGES, KEPT];
  const names = await caches.keys();
  await Promise.all(names.filter((name) => !ours.includes(name)).map((name) => caches.delete(name)));
  await self.clients.claim();
};

// Files stand under the hash of their content: what is kept is right for good.
const file = async (request) => {
  const cache = await caches.open(KEPT);
  return (await cache.match(request)) ?? fetch(request);
};

const keptPage = async (address) => (await caches.open(PAGES)).match(keyOf(address));
// A kept page says of what moment it is, so that nobody takes it for the latest.
const asKept = async (kept) => {
  const headers = new Headers(kept.headers);
  for (const name of ["content-encoding", "content-length"]) headers.delete(name);
  const moment = kept.headers.get("date") ?? "";
  return new Response((await kept.text()).replace("<body", `<body data-kept="${moment}"`), { headers });
};
const offline = async () => (await caches.open(KEPT)).match(OFFLINE);

// The network's page when it comes in time, else the one that is kept.
const page = (event) => {
  const { request } = event;
  const fresh = fetch(request);
  const keeping = fresh.then(async (answer) => {
    if (mayKeep(answer)) {
      const copy = answer.clone();
      await (await caches.open(PAGES)).put(keyOf(request.url), copy);
    }
    return answer;
  });
  event.waitUntil(keeping.catch(() => {}));
  return (async () => {
    const kept = await keptPage(request.url);
    if (!kept) return keeping.catch(offline);
    const late = new Promise((resolve) => { setTimeout(() => resolve(null), PATIENCE_MS); });
    const answer = await Promise.race([keeping, late]).catch(() => null);
    return !answer || (answer.status > 500 && answer.status < 505) ? asKept(kept) : answer;
  })();
};

// Whoever signs out leaves no page behind. The queue stays: it is theirs when they sign in again.
const forget = async () => {
  await caches.delete(PAGES);
};

// Fetches the pages of today's work: those that changed since they were kept. The list comes from the
// server with a mark for each page that changes when the page does.
const keep = async () => {
  const answer = await fetch("/sync/pages", { redirect: "error" });
  if (!answer.ok) return;
  const { account, pages } = await answer.json();
  const list = new Request("/sync/pages");
  const before = await (await caches.open(PAGES)).match(list).then((kept) => kept?.json());
  // Somebody else signed in on this device: the other's pages are not theirs to see.
  if (before && before.account !== account) await forget();
  const cache = await caches.open(PAGES);
  const marks = new Map(before?.account === account ? before.pages.map((one) => [one.address, one.mark]) : []);
  const done = [];
  for (const one of pages) {
    const isFresh = marks.get(one.address) === one.mark && (await cache.match(keyOf(one.address)));
    if (isFresh || (await fetchPage(cache, one.address))) done.push(one);
  }
  await cache.put(list, new Response(JSON.stringify({ account, pages: done })));
  if (done.length === pages.length) await tidyFiles();
  const clients = await self.clients.matchAll({ includeUncontrolled: true });
  for (const client of clients) client.postMessage({ kept: done.length, of: pages.length });
};

const fetchPage = async (cache, address) => {
  try {
    const answer = await fetch(address, { redirect: "manual", headers: { "x-keeping": "yes" } });
    if (!mayKeep(answer)) return false;
    await cache.put(keyOf(address), answer);
    return true;
  } catch {
    return false;
  }
};

// With every page of this release, no page needs a file of an earlier one.
const tidyFiles = async () => {
  const cache = await caches.open(KEPT);
  const ours = new Set([...FILES, OFFLINE]);
  for (const request of await cache.keys()) {
    if (!ours.has(new URL(request.url).pathname)) await cache.delete(request);
  }
};

// One after the other; whoever asks meanwhile gets one more.
let keeping = null;
let isAskedAgain = false;
const keepInTurn = () => {
  isAskedAgain = keeping !== null;
  keeping ??= keep().catch(() => {}).then(async () => {
    keeping = null;
    if (isAskedAgain) await keepInTurn();
  });
  return keeping;
};

const isDesk = (path) => path === "/desk" || path.startsWith("/desk/");
const isHouse = (path) => ["/", "/account", "/sign-in"].includes(path);

self.addEventListener("install", (event) => event.waitUntil(install()));
self.addEventListener("activate", (event) => event.waitUntil(activate()));
self.addEventListener("message", (event) => {
  if (event.data === "keep") event.waitUntil(keepInTurn());
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== location.origin) return;
  if (request.method === "POST" && ["/sign-out", "/account/sessions/end"].includes(url.pathname)) {
    event.waitUntil(forget());
  }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (request.mode !== "navigate") return;
  else if (isDesk(url.pathname)) event.respondWith(page(event));
  else if (isHouse(url.pathname)) event.respondWith(fetch(request).catch(offline));
});
