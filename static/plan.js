// The plan's form: counts the pieces while it is filled in. The server counts again with "Check" and
// on saving; without this script the count is that of the last look.
(() => {
  "use strict";
  const form = document.querySelector("form.plan");
  const out = document.getElementById("pieces");
  if (!form || !out) return;

  const all = (name) => [...form.querySelectorAll(`[name="${name}"]`)];
  const whole = (text) => (/^\d{1,5}$/.test(text.trim()) ? Number(text) : 0);

  const exposed = () => {
    const stages = all("stage_days").filter((field) => field.value.trim()).length;
    const replicates = all("condition_replicates");
    return all("condition_name").reduce((sum, name, row) => {
      if (!name.value.trim() || !replicates[row]) return sum;
      const numbers = replicates[row].value.split(/[,; ]+/).filter(Boolean).map(whole);
      if (numbers.length === 1) return sum + numbers[0] * stages;
      return numbers.length === stages ? sum + numbers.reduce((a, b) => a + b, 0) : sum;
    }, 0);
  };

  const count = () => {
    const conditions = exposed();
    const baseline = whole(form.elements.namedItem("baseline").value);
    const spares = whole(form.elements.namedItem("spares").value);
    const total = conditions + baseline + spares;
    const line = `${total} pieces: ${conditions} in conditions, ${baseline} baseline, ${spares} spare`;
    if (out.textContent !== line) out.textContent = line;
  };

  form.addEventListener("input", count);
  count();
})();
