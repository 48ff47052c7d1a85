// The measuring round: checks what is typed while it is typed, and lets Enter go on from the code to
// the number. The server checks everything again; without this script nothing is lost but comfort.
(() => {
  "use strict";
  const form = document.querySelector("form[data-round]");
  if (!form) return;
  const code = form.elements.namedItem("code");
  const value = form.elements.namedItem("value");
  const says = form.querySelector("[data-check]");
  const codes = new Set(form.dataset.codes.split(" "));
  const LETTERS = "34679ACDEFGHJKMNPQRTWXY";

  const bare = (text) => text.replace(/[\s-]/g, "").toUpperCase();

  // ISO 7064 MOD 37,36.
  const checkCharacter = (payload) => {
    let product = 36;
    for (const letter of payload) {
      const sum = (product + parseInt(letter, 36)) % 36 || 36;
      product = (sum * 2) % 37;
    }
    return ((37 - product) % 36).toString(36).toUpperCase();
  };

  const codeDoubt = () => {
    const typed = bare(code.value);
    if (typed.length < 5) return "";
    const odd = [...typed].find((letter) => !LETTERS.includes(letter));
    if (odd) return `No code holds the character “${odd}”.`;
    if (codes.has(typed)) return "";
    if (checkCharacter(typed.slice(0, -1)) !== typed.slice(-1)) {
      return "The check character does not fit: look at the code again.";
    }
    return `${typed} does not belong to this round.`;
  };

  const valueDoubt = () => {
    const typed = value.value.trim();
    if (typed === "") return "";
    if (!/^\+?\d*[.,]?\d*$/.test(typed) || !/\d/.test(typed)) {
      return "One number such as 12.34 or 12,34, without other signs.";
    }
    const number = Number(typed.replace(",", "."));
    if (!(number > 0)) return "The value must be above zero.";
    // The range belongs to the piece that the page was made for; siblings hardly move it for another.
    const low = Number(form.dataset.low);
    const high = Number(form.dataset.high);
    if (form.dataset.low === undefined || (number >= low && number <= high)) return "";
    const short = (x) => Number(x.toPrecision(4)).toString();
    return `Outside what siblings show (${short(Math.max(low, 0))} to ${short(high)} ${form.dataset.unit}): look again.`;
  };

  const look = () => {
    const doubt = codeDoubt() || valueDoubt();
    if (says.textContent !== doubt) says.textContent = doubt;
    const piece = form.querySelector("[data-piece]");
    if (piece) piece.hidden = bare(code.value) !== piece.dataset.piece;
  };

  // Enter in the code field, as a hand scanner sends it too, goes on to the number.
  code.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || value.value.trim() !== "") return;
    event.preventDefault();
    value.focus();
  });
  code.addEventListener("focus", () => code.select());

  // A second tap must not send twice; the page comes back to life when it is returned to.
  let isSent = false;
  form.addEventListener("submit", (event) => {
    if (isSent) event.preventDefault();
    isSent = true;
  });
  window.addEventListener("pageshow", () => { isSent = false; });

  form.addEventListener("input", look);
  look();
})();
