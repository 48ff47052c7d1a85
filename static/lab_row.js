// The tester's grid: Enter or the button stores a row without leaving the page, and the cursor goes
// on to the next one. The row is sent to the address of its own form and comes back as the server
// drew it; what could not be stored stays as typed and is marked.
"use strict";

const list = document.querySelector(".rows");
const trouble = document.querySelector("#row-trouble");
const patience = 20000;

function say(sentence) {
  trouble.textContent = sentence;
  trouble.hidden = !sentence;
}

function mark(row, state) {
  row.classList.toggle("unsaved", state === "unsaved");
  row.classList.toggle("waiting", state === "waiting");
}

// The first field of the next row that still has a form, or the way to the end.
function goOn(row) {
  for (let next = row.nextElementSibling; next; next = next.nextElementSibling) {
    const field = next.querySelector("input[name=load]");
    if (field) return field.focus();
  }
  const any = list.querySelector("input[name=load]") || document.querySelector("a.button");
  if (any) any.focus();
}

// Puts the row and the count as the server drew them in place of those on the page.
function redraw(row, page) {
  const fresh = page.getElementById(row.id);
  const progress = page.querySelector("#progress");
  if (!fresh) return null;
  row.replaceWith(fresh);
  if (progress) document.querySelector("#progress").textContent = progress.textContent;
  return fresh;
}

async function send(form, row) {
  const answer = await fetch(form.action, {
    method: "POST",
    body: new URLSearchParams(new FormData(form)),
    signal: AbortSignal.timeout(patience),
  });
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!answer.ok && answer.status !== 422) {
    const said = page.querySelector("main p");
    throw new Error(said ? said.textContent : "The server did not take it.");
  }
  if (answer.ok && new URL(answer.url).pathname.endsWith("/finish")) {
    location.assign(answer.url);
    return;
  }
  // Whoever has gone on to another row already is left there.
  const isHere = row.contains(document.activeElement) || document.activeElement === document.body;
  const fresh = redraw(row, page);
  // A page without this row is one of its own, such as a correction: go there as it is sent.
  if (!fresh) return form.submit();
  if (answer.status === 422) mark(fresh, "unsaved");
  if (!isHere) return;
  if (answer.status !== 422) return goOn(fresh);
  const fault = fresh.querySelector("[aria-invalid]") || fresh.querySelector("input[name=load]");
  if (fault) fault.focus();
}

async function store(form) {
  const row = form.closest("li");
  if (row.classList.contains("waiting")) return;
  mark(row, "waiting");
  say("");
  try {
    await send(form, row);
  } catch (error) {
    mark(row, "unsaved");
    const why = error.name === "TypeError" || error.name === "TimeoutError"
      ? "The server cannot be reached." : error.message;
    say(`${row.querySelector(".code").textContent} is not stored. ${why} What you typed is still here: press Enter in it to try again.`);
  }
}

if (list) {
  list.addEventListener("submit", (event) => {
    event.preventDefault();
    store(event.target);
  });
  list.addEventListener("input", (event) => mark(event.target.closest("li"), "unsaved"));
  // In a list of choices Enter would do nothing by itself.
  list.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.target.matches("select, input[type=checkbox]")) {
      event.preventDefault();
      event.target.form.requestSubmit();
    }
  });
  window.addEventListener("beforeunload", (event) => {
    if (list.querySelector(".unsaved")) event.preventDefault();
  });
}
