// The outbox: what this device recorded, kept in its own database until the server has acknowledged
// it, and 30 days longer. This file only keeps; `send.js` sends, `strip.js` shows.
//
//   const row = await overwinter.outbox.queue({
//     study,       // the study's id
//     kind, body,  // the entry as POST /entries takes it
//     note,        // its reason or remark, or nothing
//     slug,        // the study's address, for links to its pages
//     after,       // the id of an entry that must be acknowledged first, or nothing
//     about,       // codes of the pieces it is about: later entries about one wait behind a refused one
//     words,       // in words, for the list of what waits: "KT34A: mass 8.41 g"
//     door,        // only with blobs: where it is sent (see below); otherwise POST /entries
//   }, [{ name: "photo.jpg", blob }]);
//
// It answers when the entry is on this device's disk, and fails, with a sentence for people from
// `overwinter.outbox.sentence(error)`, when it is not: then keep what was typed on the page. An entry with
// blobs is sent alone to its `door` as multipart/form-data: the field `entry` holds the entry as JSON,
// as POST /entries takes one; each blob is a part `file`. The door answers like POST /entries with one receipt.
(() => {
  "use strict";
  const KEPT_MS = 30 * 24 * 3600 * 1000;
  // Below this room a photograph or two may fail: said before anything is lost.
  const LOW_BYTES = 20e6;
  const changes = new EventTarget();
  const channel = "BroadcastChannel" in window ? new BroadcastChannel("overwinter-outbox") : null;
  let opened;

  const open = () => opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("overwinter", 1);
    asked.onupgradeneeded = () => {
      const entries = asked.result.createObjectStore("entries", { keyPath: "n" });
      entries.createIndex("id", "id", { unique: true });
      entries.createIndex("state", "state");
      asked.result.createObjectStore("blobs");
      asked.result.createObjectStore("facts");
    };
    const forget = () => { opened = undefined; };
    asked.onsuccess = () => {
      const db = asked.result;
      db.onclose = forget;
      db.onversionchange = () => { db.close(); forget(); };
      resolve(db);
    };
    asked.onerror = () => { forget(); reject(asked.error); };
  });

  const ask = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  // One transaction; answers only when it is on disk, since the next line on the page says "saved".
  const run = async (stores, mode, work) => {
    const tx = (await open()).transaction(stores, mode, { durability: "strict" });
    const done = new Promise((resolve, reject) => {
      tx.oncomplete = resolve;
      tx.onabort = () => reject(tx.error ?? new Error("the transaction was given up"));
    });
    done.catch(() => {});
    try {
      const result = await work(tx);
      await done;
      return result;
    } catch (error) {
      try { tx.abort(); } catch { /* it is over already */ }
      throw error;
    }
  };

  const announce = () => {
    changes.dispatchEvent(new Event("change"));
    if (channel) channel.postMessage("change");
  };
  if (channel) channel.onmessage = () => changes.dispatchEvent(new Event("change"));

  // A UUIDv7 (RFC 9562): 48 bits of milliseconds, the rest random; a counter keeps the order of those
  // made within one millisecond.
  let last = 0;
  let count = 0;
  const newId = () => {
    const now = Math.max(Date.now(), last);
    count = now === last ? count + 1 : 0;
    last = count > 0xfff ? now + 1 : now;
    count &= 0xfff;
    const random = crypto.getRandomValues(new Uint8Array(8));
    random[0] = (random[0] & 0x3f) | 0x80;
    const hex = (number, width) => number.toString(16).padStart(width, "0");
    const tail = [...random].map((byte) => hex(byte, 2)).join("");
    const text = hex(last, 12) + hex(0x7000 | count, 4) + tail;
    return text.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };

  // What stands on the bag of a piece without a mark until its code is known (study/custody.rs has the same).
  const markOf = (id) => `?${id.slice(-5).toUpperCase()}`;

  const fact = (key) => run(["facts"], "readonly", (tx) => ask(tx.objectStore("facts").get(key)));
  const setFact = (key, value) =>
    run(["facts"], "readwrite", (tx) => ask(tx.objectStore("facts").put(value, key)));

  // This device's name for itself, drawn once.
  const deviceIn = async (facts) => {
    const known = await ask(facts.get("device"));
    if (known) return known;
    const device = newId();
    await ask(facts.put(device, "device"));
    return device;
  };
  const device = () => run(["facts"], "readwrite", (tx) => deviceIn(tx.objectStore("facts")));

  const rowOf = (entry, n, device, blobs) => ({
    n,
    device,
    id: entry.id ?? newId(),
    state: "waiting",
    by: document.body.dataset.account ?? null,
    who: document.body.dataset.who ?? "",
    study: entry.study,
    slug: entry.slug ?? null,
    after: entry.after ?? null,
    kind: entry.kind,
    body: entry.body,
    note: entry.note || null,
    about: entry.about ?? [],
    words: entry.words ?? entry.kind,
    door: entry.door ?? null,
    blobs: blobs.length,
    taken_at: entry.taken_at ?? new Date().toISOString(),
    time_zone: Intl.DateTimeFormat().resolvedOptions().timeZone || "UTC",
  });

  const queue = async (entry, blobs = []) => {
    const row = await run(["entries", "blobs", "facts"], "readwrite", async (tx) => {
      const facts = tx.objectStore("facts");
      const n = 1 + ((await ask(facts.get("seq"))) ?? 0);
      await ask(facts.put(n, "seq"));
      const made = rowOf(entry, n, await deviceIn(facts), blobs);
      await ask(tx.objectStore("entries").add(made));
      if (blobs.length) await ask(tx.objectStore("blobs").put(blobs, made.id));
      return made;
    });
    // Asks the browser once not to clear this database when room gets short.
    navigator.storage?.persist?.();
    announce();
    return row;
  };

  // Rows in the order in which they were recorded.
  const inState = (state) => run(["entries"], "readonly", async (tx) => {
    const rows = await ask(tx.objectStore("entries").index("state").getAll(state));
    return rows.sort((one, other) => one.n - other.n);
  });
  const all = () => run(["entries"], "readonly", (tx) => ask(tx.objectStore("entries").getAll()));
  const blobsOf = (id) => run(["blobs"], "readonly", (tx) => ask(tx.objectStore("blobs").get(id)));

  // Changes rows, all in one transaction: `changes` maps a row's n to what is new about it.
  const change = async (byNumber) => {
    await run(["entries"], "readwrite", async (tx) => {
      const entries = tx.objectStore("entries");
      for (const [n, news] of byNumber) {
        const row = await ask(entries.get(n));
        if (row) await ask(entries.put({ ...row, ...news }));
      }
    });
    announce();
  };

  // Lets go of what was acknowledged more than 30 days ago. Nothing else is ever removed.
  const prune = () => run(["entries", "blobs"], "readwrite", async (tx) => {
    const entries = tx.objectStore("entries");
    const sent = await ask(entries.index("state").getAll("sent"));
    for (const row of sent) {
      if (Date.now() - Date.parse(row.sent_at) < KEPT_MS) continue;
      await ask(entries.delete(row.n));
      await ask(tx.objectStore("blobs").delete(row.id));
    }
  });

  // How much room this device has left, in bytes; null when it does not say.
  const room = async () => {
    const estimate = await navigator.storage?.estimate?.().catch(() => null);
    if (!estimate?.quota) return null;
    const free = estimate.quota - estimate.usage;
    return { free, isLow: free < LOW_BYTES };
  };

  const sentence = (error) => (error?.name === "QuotaExceededError"
    ? "This device’s storage is full, so this is not saved. What you typed is still here: free some space, then save again."
    : `This device could not save it (${error?.message ?? error}). What you typed is still here.`);

  window.overwinter = {
    outbox: { queue, all, inState, blobsOf, change, prune, room, sentence, newId, markOf, device, fact, setFact, changes },
  };
})();
