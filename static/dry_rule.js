// Is a piece dry? The rule of src/study/drying.rs and its words, for saying at once and without a network when
// to weigh again. A test holds both to the same answers.
(() => {
  "use strict";
  const HOUR_MS = 3600e3;
  const DAY_MS = 24 * HOUR_MS;

  // The change since the last weighing of the first half, against the whole change.
  const secondHalf = (weighings, sharePercent) => {
    const [first, last] = [weighings[0], weighings[weighings.length - 1]];
    const half = first.at + (last.at - first.at) / 2;
    const middle = [...weighings].reverse().find((one) => one.at <= half);
    if (!middle) return [];
    const whole = Math.abs(first.mass_g - last.mass_g);
    const second = Math.abs(middle.mass_g - last.mass_g);
    const step = Math.max(first.step_g, last.step_g);
    const allowed = Math.max((whole * sharePercent) / 100, step * (1 + 1e-6));
    return second > allowed ? [{ lacks: "still_changing", share: (100 * second) / Math.max(whole, 2 ** -1022) }] : [];
  };

  // Whether the last `count` weighings that stand far enough apart agree.
  const agree = (weighings, count, apartHours, allowedG) => {
    const apart = apartHours * HOUR_MS;
    const chosen = [];
    for (const one of [...weighings].reverse()) {
      const later = chosen[chosen.length - 1];
      if (chosen.length < count && (!later || one.at + apart <= later.at)) chosen.push(one);
    }
    if (chosen.length < count) return [{ lacks: "too_close", until: weighings[weighings.length - 1].at + apart }];
    const masses = chosen.map((one) => one.mass_g);
    const by = Math.max(...masses) - Math.min(...masses);
    return by > allowedG * (1 + 1e-9) ? [{ lacks: "differ", by, allowed: allowedG }] : [];
  };

  const lacks = (rule, marginPercent, weighings) => {
    if (weighings.length < 2) return [{ lacks: "one_weighing" }];
    const [first, last] = [weighings[0], weighings[weighings.length - 1]];
    if (rule.kind === "three_weighings") return agree(weighings, 3, rule.apart_hours, (last.mass_g * rule.percent) / 100);
    const until = first.at + rule.days * DAY_MS;
    return [
      ...(last.at < until ? [{ lacks: "too_soon", until }] : []),
      ...secondHalf(weighings, rule.share_percent),
      ...agree(weighings, 2, rule.apart_hours, (last.mass_g * marginPercent) / 100 / rule.divisor),
    ];
  };

  const weighAfter = (rule, weighings, why) => {
    const [first, last] = [weighings[0], weighings[weighings.length - 1]];
    const next = last.at + (rule.apart_hours ?? 0) * HOUR_MS;
    const moments = why.map((one) => one.until
      ?? (one.lacks === "still_changing" ? first.at + ((last.at - first.at) * 3) / 2 : next));
    return Math.max(next, ...moments);
  };

  // Weighings in the order of their times: { at (ms), mass_g, step_g }. The answer's moments are ms too.
  const judge = (rule, marginPercent, weighings, now) => {
    if (!weighings.length) return { word: "not_begun" };
    if (rule.kind === "room_dry") {
      const end = weighings[0].at + rule.days * DAY_MS;
      return now >= end ? { word: "constant", since: end }
        : { word: "going", weigh_after: end, why: [{ lacks: "too_soon", until: end }] };
    }
    let since = null;
    let why = [];
    weighings.forEach((last, n) => {
      why = lacks(rule, marginPercent, weighings.slice(0, n + 1));
      since = why.length ? null : since ?? last.at;
    });
    return since === null ? { word: "going", weigh_after: weighAfter(rule, weighings, why), why } : { word: "constant", since };
  };

  // A moment in words, as src/study/when.rs has it.
  const moment = (ms, zone) => {
    const format = new Intl.DateTimeFormat("en-GB", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "long", day: "numeric", hour: "2-digit", minute: "2-digit",
    });
    const part = Object.fromEntries(format.formatToParts(ms).map(({ type, value }) => [type, value]));
    return `${part.day} ${part.month} ${part.year}, ${part.hour}:${part.minute}`;
  };

  const state = (found, zone) => {
    if (found.word === "not_begun") return "not weighed yet";
    return found.word === "constant" ? `constant since ${moment(found.since, zone)}`
      : `weigh again after ${moment(found.weigh_after, zone)}`;
  };

  // As the server writes numbers: what lies exactly between two goes to the even one.
  const fixed = (value, places) => {
    const exact = value.toFixed(places + 40);
    const kept = places ? exact.slice(0, -40) : exact.slice(0, exact.indexOf("."));
    const isTie = /^50*$/.test(exact.slice(-40));
    return isTie && Number(kept.slice(-1)) % 2 === 0 ? kept : value.toFixed(places);
  };

  // Two significant digits at most, without trailing zeros.
  const digits = (value) => {
    if (value === 0) return "0";
    const places = Math.max(0, 1 - Math.floor(Math.log10(Math.abs(value))));
    const text = fixed(value, places);
    return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
  };

  const sentences = {
    one_weighing: () => "One weighing alone shows no change.",
    too_soon: ({ until }, zone) => `The least time of drying is over on ${moment(until, zone)}.`,
    still_changing: ({ share }) => (share >= 1000
      ? "The second half of the drying time holds a change that the whole does not show."
      : `The second half of the drying time still holds ${fixed(share, 0)} % of the whole change.`),
    too_close: ({ until }, zone) =>
      `The weighings are too close together; one after ${moment(until, zone)} is far enough from the last.`,
    differ: ({ by, allowed }) => `Weighings that must agree differ by ${digits(by)} g; ${digits(allowed)} g is allowed.`,
  };
  const wanting = (found, zone) => (found.why ?? []).map((one) => sentences[one.lacks](one, zone));

  window.overwinter.dryRule = { judge, state, wanting };
})();
