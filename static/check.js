// Does a reading look right? The rules of src/study/plausibility.rs, for checking at once and without a
// network. A test holds both to the same answers.
(() => {
  "use strict";
  // A positive number with a point or a comma; { value } or { fault }.
  const number = (text, called) => {
    const typed = text.trim();
    if (typed === "") return { fault: `${called} is missing.` };
    const digits = typed.replace(/[^0-9]/g, "").length;
    if (!/^[+\-−]?\d*[.,]?\d*$/.test(typed) || digits === 0) {
      return { fault: `${called} must be one number such as 12.34 or 12,34, without other signs.` };
    }
    if (digits > 17) return { fault: `${called} has more digits than any instrument.` };
    const value = Number(typed.replace(",", ".").replace("−", "-"));
    return value > 0 ? { value } : { fault: `${called} must be above zero.` };
  };

  const middle = (sorted) => {
    const half = Math.floor(sorted.length / 2);
    return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
  };

  // Median, range and robust standard deviation (scaled median absolute deviation) of siblings.
  const spread = (values) => {
    if (!values.length) return null;
    const sorted = [...values].sort((a, b) => a - b);
    const median = middle(sorted);
    const away = sorted.map((value) => Math.abs(value - median)).sort((a, b) => a - b);
    const [smallest, largest] = [sorted[0], sorted[sorted.length - 1]];
    return { n: sorted.length, median, smallest, largest, robustSd: 1.4826 * middle(away) };
  };

  const signed = (value, decimals) => (value < 0 ? "−" : "+") + Math.abs(value).toFixed(decimals);

  const robustStep = (siblings, readability, rules) => {
    const step = Math.max(siblings.robustSd, readability);
    return siblings.n >= rules.fewest && step > 0 ? step : null;
  };

  // Everything doubtful about a value in g or mm, as sentences; `expected` as in plausibility.rs.
  const doubts = (value, expected, rules) => {
    const { siblings, readability, nominal, ownBefore, density } = expected;
    const usual = siblings?.median ?? ownBefore ?? nominal;
    const times = usual == null ? 1 : value / usual;
    if (times > rules.slip) {
      return [`This is about ${times.toFixed(0)} times what was expected; look at the decimal mark and the unit.`];
    }
    if (times < 1 / rules.slip) {
      return [`What was expected is about ${(1 / times).toFixed(0)} times this; look at the decimal mark and the unit.`];
    }
    const found = [];
    const step = siblings && robustStep(siblings, readability, rules);
    const away = step ? Math.abs(value - siblings.median) / step : 0;
    if (away > rules.limit_sd) {
      found.push(`This lies ${away.toFixed(0)} robust standard deviations from the siblings' median.`);
    }
    const percent = ownBefore == null ? 0 : (100 * (value - ownBefore)) / ownBefore;
    if (Math.abs(percent) > rules.own_percent) {
      found.push(`This piece would have changed by ${signed(percent, 1)} % since before exposure.`);
    }
    if (density) {
      const [own, material] = density;
      const [low, high] = rules.density;
      if (!(own / material >= low && own / material <= high)) {
        found.push(`With its other readings the piece would have a density of ${own.toFixed(2)} g/cm³; its material has ${material.toFixed(2)}.`);
      }
    }
    return found;
  };

  // The range that is not asked about for the siblings' sake; null when nothing is known.
  const usualRange = ({ siblings, readability, nominal }, rules) => {
    const step = siblings && robustStep(siblings, readability, rules);
    if (step) return [siblings.median - rules.limit_sd * step, siblings.median + rules.limit_sd * step];
    const usual = siblings?.median ?? nominal;
    return usual == null ? null : [usual / rules.slip, usual * rules.slip];
  };

  window.overwinter.check = { number, spread, doubts, usualRange, signed };
})();
