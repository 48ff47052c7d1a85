// Sends what waits in the outbox: on load, when the network returns, when the page comes to the front,
// on a timer, and when asked. What each answer means for an entry: engineering.md 11; only an
// acknowledgement that names the entry ever takes it out of the queue.
(() => {
  "use strict";
  const { outbox } = window.overwinter;
  const BATCH = 50;
  const PATIENCE_MS = 30000;
  const SOON_MS = 20000;
  const CALM_MS = 300000;
  const status = { word: "idle", account: null, name: "", aheadMs: 0 };
  const tell = (news) => {
    Object.assign(status, news);
    outbox.changes.dispatchEvent(new Event("change"));
  };

  // Another server's page (a hotel's sign-in, a proxy's error) is no answer: only JSON is.
  const post = async (address, body, headers) => {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
    try {
      const answer = await fetch(address, {
        method: "POST", body, headers, redirect: "error", cache: "no-store", signal: stop.signal,
      });
      const isJson = /^application\/(problem\+)?json/.test(answer.headers.get("content-type") ?? "");
      return { status: answer.status, body: isJson ? await answer.json() : null };
    } catch {
      return { status: 0, body: null };
    } finally {
      clearTimeout(timer);
    }
  };
  const postJson = (address, value) =>
    post(address, JSON.stringify(value), { "content-type": "application/json" });

  const meaning = (code) => {
    if (code === 200 || code === 201) return "sent";
    if (code === 401 || code === 403) return "sign-in";
    if (code === 0 || code === 408 || code === 425 || code === 429 || code >= 500) return "wait";
    return "needs-you";
  };

  // A code that the server gave goes with it when it is sent again: it stands on a bag.
  const asSent = (row) => ({
    id: row.id, study: row.study, account: row.by, device: row.device, device_seq: row.n,
    taken_at: row.taken_at, time_zone: row.time_zone, note: row.note, kind: row.kind,
    body: row.code ? { ...row.body, code: row.code } : row.body,
  });

  // Tells the server what waits here, and learns who is signed in, the time, and whether the
  // server's journal still holds what it acknowledged.
  const greet = async () => {
    const [waiting, refused] = [await outbox.inState("waiting"), await outbox.inState("refused")];
    const unsent = [...waiting, ...refused].map((row) => row.taken_at).sort();
    const receipts = (await outbox.fact("receipts")) ?? {};
    const answer = await postJson("/sync", {
      device: await outbox.device(),
      clock: new Date().toISOString(),
      waiting: waiting.length,
      refused: refused.length,
      oldest: unsent[0] ?? null,
      receipts: Object.entries(receipts).map(([chain, receipt]) => ({ chain, ...receipt })),
    });
    if (answer.status !== 200 || !answer.body?.account) {
      const word = meaning(answer.status) === "sign-in" ? "sign-in" : "offline";
      tell({ word, account: null });
      return false;
    }
    const { account, name, now, lost } = answer.body;
    tell({ account, name, aheadMs: Date.now() - Date.parse(now) });
    if (lost.length) await offerAgain(lost, receipts);
    return true;
  };

  // The server's journal was put back to an earlier state: everything that it acknowledged in these
  // chains and that is still kept here is sent again. What it does hold, it answers as known.
  const offerAgain = async (chains, receipts) => {
    for (const chain of chains) delete receipts[chain];
    await outbox.setFact("receipts", receipts);
    const sent = await outbox.inState("sent");
    const lost = sent.filter((row) => row.receipt && chains.includes(row.receipt.chain));
    await outbox.change(lost.map((row) => [row.n, { state: "waiting", receipt: null, why: null }]));
  };

  // What may go now: in order, one entry a piece, nothing behind a refused one, nobody else's.
  const ready = (waiting, refused, held) => {
    const keys = (row) => row.about.map((code) => `${row.study} ${code}`);
    const blocked = new Set(refused.flatMap(keys));
    const unsent = new Set([...waiting, ...refused].map((row) => row.id));
    const batch = [];
    for (const row of waiting) {
      const isFree = !keys(row).some((key) => blocked.has(key)) && !unsent.has(row.after);
      keys(row).forEach((key) => blocked.add(key));
      if (!isFree || held.has(row.n) || (row.by && row.by !== status.account)) continue;
      if (row.door && batch.length) continue;
      batch.push(row);
      if (row.door || batch.length === BATCH) break;
    }
    return batch;
  };

  const deliver = async (batch) => {
    const [first] = batch;
    if (!first.door) return postJson("/entries", { entries: batch.map(asSent) });
    const form = new FormData();
    form.set("entry", JSON.stringify(asSent(first)));
    for (const { name, blob } of (await outbox.blobsOf(first.id)) ?? []) form.append("file", blob, name);
    return post(first.door, form);
  };

  // Writes down what the answers mean; says whether it makes sense to go on.
  const settle = async (batch, answer, held) => {
    const whole = meaning(answer.status);
    const receipts = answer.body?.receipts;
    if (whole === "wait" || (whole === "sent" && !Array.isArray(receipts))) {
      tell({ word: answer.status === 0 ? "offline" : "busy" });
      return false;
    }
    if (whole === "sign-in") {
      tell({ word: "sign-in" });
      return false;
    }
    const byId = new Map((receipts ?? []).map((one) => [one.id, one]));
    const problem = answer.body?.detail ?? `The server answered ${answer.status}.`;
    const news = batch.map((row) => {
      const one = byId.get(row.id) ?? { status: whole === "needs-you" ? answer.status : 0, problem };
      return [row, one];
    });
    // Before the entries count as sent: no code may be lost on the way to its bag.
    await rememberCodes(news);
    await outbox.change(news.map(([row, one]) => [row.n, newsOf(row, one, held)]));
    await rememberReceipts(news);
    if (news.some(([, one]) => one.status === 401)) {
      tell({ word: "sign-in" });
      return false;
    }
    return news.every(([, one]) => meaning(one.status) !== "wait");
  };

  const newsOf = (row, one, held) => {
    const found = meaning(one.status);
    if (found === "sent" && one.receipt?.id === row.id) {
      return { state: "sent", sent_at: new Date().toISOString(), receipt: one.receipt, why: null, mend: null, piece: null, code: one.code ?? null };
    }
    if (found === "needs-you") return { state: "refused", why: one.problem, mend: one.mend ?? null, piece: one.piece ?? null };
    held.add(row.n);
    return { why: one.problem ?? null };
  };

  // The codes that the server gave to pieces found without a mark, until somebody says that they are written.
  const rememberCodes = async (news) => {
    const given = news.filter(([row, one]) => one.code && one.code !== row.code);
    if (!given.length) return;
    const codes = (await outbox.fact("codes")) ?? {};
    for (const [row, one] of given) codes[row.id] = { code: one.code, mark: outbox.markOf(row.id), slug: row.slug };
    await outbox.setFact("codes", codes);
  };

  // The newest receipt of each chain: what the server is asked about later.
  const rememberReceipts = async (news) => {
    const receipts = (await outbox.fact("receipts")) ?? {};
    for (const [, one] of news) {
      const found = one.receipt;
      if (!found || (receipts[found.chain]?.seq ?? 0) >= found.seq) continue;
      receipts[found.chain] = { seq: found.seq, hash: found.hash };
    }
    await outbox.setFact("receipts", receipts);
  };

  const sendAll = async () => {
    tell({ word: "sending" });
    if (!(await greet())) return;
    const held = new Set();
    let sent = 0;
    for (;;) {
      const waiting = await outbox.inState("waiting");
      const batch = ready(waiting, await outbox.inState("refused"), held);
      if (!batch.length) break;
      const answer = await deliver(batch);
      if (meaning(answer.status) === "needs-you" && batch.length > 1) {
        // Something in it spoils the whole: each by itself finds out what.
        for (const row of batch) if (!(await settle([row], await deliver([row]), held))) return;
        continue;
      }
      if (!(await settle(batch, answer, held))) return;
      sent += batch.length;
    }
    // What is sent and what was refused is news for the server's list of devices.
    if (sent && !(await greet())) return;
    await outbox.prune();
    tell({ word: "idle" });
  };

  let isAgain = false;
  // One sender at a time, also among several tabs; whoever asks meanwhile gets another pass.
  const send = async () => {
    isAgain = true;
    const work = async (lock) => {
      if (!lock) return;
      while (isAgain) {
        isAgain = false;
        await sendAll();
      }
    };
    try {
      if (navigator.locks) await navigator.locks.request("overwinter-send", { ifAvailable: true }, work);
      else await work(true);
    } catch (error) {
      tell({ word: "broken", why: outbox.sentence(error) });
    }
  };

  let timer;
  const again = async () => {
    clearTimeout(timer);
    await send();
    const isWaiting = (await outbox.inState("waiting").catch(() => [])).length > 0;
    clearTimeout(timer);
    timer = setTimeout(again, isWaiting ? SOON_MS : CALM_MS);
  };

  window.addEventListener("online", again);
  window.addEventListener("offline", () => tell({ word: "offline" }));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) again(); });
  window.addEventListener("pageshow", (event) => { if (event.persisted) again(); });
  window.overwinter.send = { now: again, status };
  again();
})();
