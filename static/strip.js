// The strip at the foot of every page: how many entries wait on this device, since when, why, and how
// many need somebody. It never hides while the page is open.
(() => {
  "use strict";
  const { outbox, send } = window.overwinter;
  const strip = document.createElement("aside");
  strip.className = "strip";
  strip.setAttribute("aria-label", "Waiting on this device");
  const says = strip.appendChild(document.createElement("p"));
  says.setAttribute("role", "status");
  const needs = strip.appendChild(document.createElement("a"));
  needs.href = "/desk/waiting";
  const codes = strip.appendChild(document.createElement("a"));
  codes.href = "/desk/waiting#codes";
  const go = strip.appendChild(document.createElement("button"));
  go.type = "button";
  go.className = "second";
  const signIn = strip.appendChild(document.createElement("a"));
  signIn.className = "button second";
  signIn.textContent = "Sign in";
  const remark = strip.appendChild(document.createElement("p"));
  remark.className = "strip-remark";

  const since = (moment) => {
    const then = new Date(moment);
    const isToday = then.toDateString() === new Date().toDateString();
    const day = isToday ? {} : { day: "numeric", month: "short" };
    return then.toLocaleString("en-GB", { ...day, hour: "2-digit", minute: "2-digit" });
  };

  const apart = (ms) => {
    const minutes = Math.round(Math.abs(ms) / 60000);
    const [days, hours] = [Math.floor(minutes / 1440), Math.floor(minutes / 60) % 24];
    return [days && `${days} d`, hours && `${hours} h`, `${minutes % 60} min`].filter(Boolean).join(" ");
  };

  const because = {
    idle: "", sending: ", sending now", offline: ", no connection", busy: ", the server is busy",
    "sign-in": ", sign in to send them", broken: "",
  };

  // A clock that is off by a minute harms nobody; more is said, for it goes into the record.
  const remarks = async () => {
    const said = [];
    const off = send.status.aheadMs;
    if (Math.abs(off) > 120000) {
      said.push(`This device’s clock is ${apart(off)} ${off > 0 ? "ahead of" : "behind"} the server’s. Both times are kept.`);
    }
    if ((await outbox.room())?.isLow) said.push("This device’s storage is nearly full: free some space before you go on.");
    if (unsent) said.push(unsent);
    const { kept } = document.body.dataset;
    if (kept) said.push(`This page is kept from ${since(kept)}; the server was not reached.`);
    if (send.status.word === "broken") said.push(send.status.why);
    return said.join(" ");
  };

  const set = (element, text) => { if (element.textContent !== text) element.textContent = text; };

  const draw = async () => {
    const [waiting, refused] = [await outbox.inState("waiting"), await outbox.inState("refused")];
    const { word, account } = send.status;
    const others = account ? waiting.filter((row) => row.by && row.by !== account) : [];
    let text = "Nothing waits on this device.";
    if (waiting.length) {
      text = `${waiting.length} ${waiting.length === 1 ? "waits" : "wait"} on this device since ${since(waiting[0].taken_at)}${because[word]}.`;
    } else if (word === "offline") text = "No connection. Nothing waits on this device.";
    else if (refused.length) text = "";
    if (others.length) text += ` ${others.length} of them for ${others[0].who || "somebody else"} to sign in.`;
    set(says, text);
    set(needs, refused.length ? `${refused.length} ${refused.length === 1 ? "needs" : "need"} you` : waiting.length ? "Show" : "");
    needs.hidden = !needs.textContent;
    needs.classList.toggle("fault", refused.length > 0);
    const given = Object.values((await outbox.fact("codes")) ?? {});
    set(codes, given.length === 1 ? `${given[0].mark} is ${given[0].code}: write it on its bag`
      : given.length ? `${given.length} codes to write on bags` : "");
    codes.hidden = !given.length;
    set(go, word === "sending" ? "Sending…" : "Send now");
    go.hidden = !waiting.length;
    const page = location.pathname + location.search;
    signIn.href = `/sign-in?next=${encodeURIComponent(page)}`;
    signIn.hidden = word !== "sign-in" || location.pathname === "/sign-in";
    set(remark, await remarks());
    strip.classList.toggle("has-waiting", waiting.length > 0);
    strip.dataset.waiting = waiting.length;
    strip.dataset.refused = refused.length;
    strip.dataset.word = word;
    // Only when it has something to say: an empty button says nothing to anybody.
    if (!strip.isConnected) document.body.append(strip);
  };

  // The page keeps as much room at its end as the strip takes, and what has the focus stays in sight.
  new ResizeObserver(() => {
    document.documentElement.style.setProperty("--strip", `${strip.offsetHeight}px`);
    const here = document.activeElement;
    if (!here || here === document.body || strip.contains(here)) return;
    const isBelow = here.getBoundingClientRect().bottom > strip.getBoundingClientRect().top;
    if (isBelow) here.scrollIntoView({ block: "nearest" });
  }).observe(strip);

  // Drawn one after another, so that an early answer never overwrites a later one.
  let last = Promise.resolve();
  const redraw = () => {
    last = last.then(draw).catch((error) => set(remark, outbox.sentence(error)));
  };
  // A form that has no script of its own would be lost on the way: it stays as it was typed.
  let unsent = "";
  document.addEventListener("submit", (event) => {
    if (navigator.onLine || event.defaultPrevented || event.target.method !== "post") return;
    event.preventDefault();
    unsent = "No connection: this form is not sent. What you typed stays here; send it when the connection is back.";
    redraw();
  });
  window.addEventListener("online", () => { unsent = ""; });
  // On a phone the row of a study's pages is wider than the screen: the one that is open comes into sight.
  const open = document.querySelector("nav.study a[aria-current]");
  const row = open?.closest("ul");
  if (row && row.scrollWidth > row.clientWidth) {
    const away = open.getBoundingClientRect().left - row.getBoundingClientRect().left;
    row.scrollLeft += away - (row.clientWidth - open.offsetWidth) / 2;
  }

  go.addEventListener("click", () => send.now());
  outbox.changes.addEventListener("change", redraw);
  redraw();
})();
