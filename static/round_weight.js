// The check weight (or gauge) beside a measuring round: recorded in the device's outbox like the
// readings, before the first and after the last of them.
(() => {
  "use strict";
  const form = document.querySelector("form[data-weight]");
  if (!form || !window.overwinter?.check) return;
  const { outbox, send, check } = window.overwinter;
  const data = JSON.parse(document.querySelector("form[data-round]").dataset.round);
  const panel = form.closest("details");
  const summary = panel.querySelector("summary");
  const says = form.querySelector("[data-weight-says]");
  const [nominal, value] = ["nominal", "check_value"].map((name) => form.elements.namedItem(name));
  const HOURS = 12;
  const show = (element, text) => { if (element.textContent !== text) element.textContent = text; };

  const verdict = (one) => {
    const off = one.value - one.nominal;
    const limit = 3 * data.readability;
    const words = `${(off / data.one).toFixed(data.decimals)} ${data.symbol} off; the action limit is 3 × ${data.step_words}`;
    return Math.abs(off) > limit * (1 + 1e-6)
      ? { isGood: false, text: `${words}. Clean it, zero it, read the check ${data.check_name} again; go on only when it fits.` }
      : { isGood: true, text: `${words}. It fits.` };
  };

  // Checks of this instrument: of the page, and of this device.
  const all = async () => {
    const own = (await outbox.all()).filter((row) => row.kind === "instrument_checked"
      && row.state !== "refused" && row.body.check.instrument === data.instrument);
    const known = new Set(data.checks.map((one) => one.entry));
    const fresh = own.filter((row) => !known.has(row.id))
      .map((row) => ({ ...row.body.check, entry: row.id, at: row.taken_at, text: row.body.check.nominal_typed.text }));
    return [...data.checks, ...fresh].sort((a, b) => Date.parse(a.at) - Date.parse(b.at));
  };

  const draw = async () => {
    const last = (await all()).at(-1);
    const isRecent = last && Date.now() - Date.parse(last.at) < HOURS * 3600e3;
    const time = last && new Date(last.at).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
    show(summary, isRecent
      ? `Check ${data.check_name}: read at ${time}, ${verdict(last).isGood ? "fits" : "beyond its limit"}`
      : `Check ${data.check_name}: not read in the last ${HOURS} hours`);
    if (last && nominal.value === "") nominal.value = last.text;
  };

  const save = async () => {
    const [weight, read] = [check.number(nominal.value, `The check ${data.check_name}`), check.number(value.value, "What it shows")];
    if (weight.fault || read.fault) {
      show(says, weight.fault ?? read.fault);
      return (weight.fault ? nominal : value).focus();
    }
    const typed = (field) => ({ text: field.value.trim(), unit: data.unit });
    const one = {
      instrument: data.instrument, nominal: weight.value * data.one, nominal_typed: typed(nominal),
      value: read.value * data.one, typed: typed(value),
    };
    try {
      await outbox.queue({
        study: data.study, slug: data.slug, kind: "instrument_checked", body: { check: one }, about: [],
        words: `${data.instrument_name}: check ${data.check_name} ${nominal.value.trim()} read ${value.value.trim()} ${data.symbol}`,
      });
    } catch (error) {
      return show(says, outbox.sentence(error));
    }
    send.now();
    const found = verdict(one);
    show(says, found.text);
    says.classList.toggle("fault", !found.isGood);
    value.value = "";
    await draw();
    if (!found.isGood) return value.focus();
    panel.open = false;
    return document.querySelector("form[data-round]").elements.namedItem("value").focus();
  };

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    save();
  });
  for (const link of document.querySelectorAll("[data-weigh-again]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      panel.open = true;
      value.focus();
    });
  }
  draw().catch((error) => show(says, outbox.sentence(error)));
})();
