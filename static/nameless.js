// A piece found without its mark: into the device's outbox, with or without a network. The server gives it
// its code when it takes the entry; until then its bag bears a mark of its own. What was refused is put
// right in this form too: `?mend=` names it.
(() => {
  "use strict";
  const form = document.querySelector("form[data-nameless]");
  if (!form || !window.overwinter?.fieldwork) return;
  const { fieldwork, outbox, send } = window.overwinter;
  const work = fieldwork(form);
  const conditions = JSON.parse(form.dataset.nameless);
  const { slug, zone } = form.dataset;
  const [holder, stage, state, note] = ["holder", "stage", "state", "note"].map((name) => form.elements.namedItem(name));
  // The refused entry that is being put right, when one is.
  let refused = null;

  const read = () => {
    const at = work.moment();
    if (!at) return null;
    if (work.ahead(at).length) return work.stop("This lies in the future; nothing is found there.", work.at);
    const id = refused?.id ?? outbox.newId();
    const place = holder.selectedOptions[0].textContent.trim();
    return {
      id, kind: "nameless_found", note: note.value.trim(), about: [],
      words: `${outbox.markOf(id)}: found without its mark, ${place}`,
      body: {
        condition: conditions[holder.value], holder: holder.value, stage_days: Number(stage.value),
        recovery: state.value, at: at.toISOString(),
      },
    };
  };

  const AGAIN = { state: "waiting", why: null, mend: null, piece: null };
  const mended = async ({ body, words, note: said }) => {
    try {
      await outbox.change([[refused.n, { ...AGAIN, body, words, note: said || null }]]);
      send.now();
      return refused;
    } catch (error) {
      return work.stop(outbox.sentence(error));
    }
  };

  // What is to be written on the bag: the mark at once, the code as soon as the server has given it.
  const follow = (id, words) => {
    const mark = outbox.markOf(id);
    const done = work.close(words, ["exposure/nameless", "Another one"]);
    const bag = document.createElement("p");
    bag.className = "notice";
    bag.dataset.bag = "";
    bag.setAttribute("role", "status");
    done.after(bag);
    const draw = async () => {
      const row = (await outbox.all()).find((one) => one.id === id);
      const sentence = row?.code
        ? `It is ${row.code} from today: write ${row.code} on the bag marked ${mark}. It counts in the break loads of its group, not in changes of mass or dimensions.`
        : row?.state === "refused"
          ? `The server did not take it: ${row.why} Leave ${mark} on its bag and put the entry right under “What waits on this device”.`
          : `Write ${mark} on its bag. Its code follows when the server has this; then it stands here and at the foot of every page.`;
      if (bag.textContent !== sentence) bag.textContent = sentence;
    };
    outbox.changes.addEventListener("change", draw);
    return draw();
  };

  work.onSubmit(async () => {
    const entry = read();
    if (!entry) return;
    const row = await (refused ? mended(entry) : work.record(entry));
    if (row) await follow(row.id, entry.words);
  });

  const fill = async () => {
    const number = Number(new URLSearchParams(location.search).get("mend"));
    const row = number ? (await outbox.all()).find((one) => one.n === number) : null;
    if (row?.state !== "refused" || row.kind !== "nameless_found" || row.slug !== slug) return;
    refused = row;
    for (const [field, value] of [[holder, row.body.holder], [stage, String(row.body.stage_days)], [state, row.body.recovery]]) {
      if ([...field.options].some((option) => option.value === value)) field.value = value;
    }
    work.at.value = fieldwork.fieldIn(Date.parse(row.body.at), zone);
    note.value = row.note ?? "";
    form.querySelector("button").textContent = `Send ${outbox.markOf(row.id)} again`;
    work.stop(`The server did not take it: ${row.why}`, holder);
  };
  fill().catch((error) => work.stop(outbox.sentence(error)));
})();
