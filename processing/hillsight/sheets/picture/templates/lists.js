// The marks as lists beside the photograph: to read, to go to, to name anew, to delete.

function element(tag, words, more = {}) {
  const made = document.createElement(tag);
  if (words) made.textContent = words;
  Object.assign(made, more);
  return made;
}

function button(words, label, does) {
  const made = element("button", words, { type: "button" });
  made.setAttribute("aria-label", label);
  made.addEventListener("click", does);
  return made;
}

/** A field for how far a mark may be off; put(number) is called with what is settled on. */
function giveField(label, value, put) {
  const field = element("input", "", { type: "number", min: "0.1", max: "500", step: "any", value, inputMode: "decimal" });
  field.setAttribute("aria-label", label);
  field.addEventListener("change", () => {
    const number = Number(field.value);
    if (Number.isFinite(number) && number > 0 && number <= 500) put(number);
    else field.value = value;
  });
  const whole = element("label", "give or take ", { className: "give" });
  whole.append(field, " px");
  return whole;
}

function landmarkItem(one, i, bench) {
  const name = wordsOf(one);
  const item = element("li", "", { className: bench.chosen && bench.chosen.id === one.id ? "chosen" : "" });
  const head = element("div", "", { className: "head" });
  head.append(element("span", `${i + 1}`, { className: "number" }), element("strong", name));
  const facts = element("div", `x ${one.x.toFixed(1)}, y ${one.y.toFixed(1)} px, `, { className: "quiet" });
  facts.append(giveField(`Give or take of ${name}, pixels`, one.give, (give) => bench.marks.putLandmark({ ...one, give })));
  const does = element("div", "", { className: "does" });
  does.append(
    button("Show", `Show ${name}`, () => {
      bench.view.bringIn(one.x, one.y);
      bench.choose({ id: one.id });
    }),
    button("Rename", `Choose another name for ${name}`, () => bench.rename(one.id)),
    button("Delete", `Delete ${name}`, () => bench.marks.without(one.id)),
  );
  item.append(head, facts, does);
  return item;
}

function lineItem(line, i, bench) {
  const { marks } = bench;
  const name = `${line.of === "skyline" ? "skyline" : "near brow"}, piece ${i + 1}`;
  const xs = pointsOf(line).map(([x]) => x);
  const item = element("li", "", { className: bench.chosen && bench.chosen.id === line.id ? "chosen" : "" });
  const head = element("div", "", { className: "head" });
  const count = line.anchors.length;
  const words = count === 1 ? "one anchor so far" : `x ${Math.min(...xs).toFixed(0)} to ${Math.max(...xs).toFixed(0)} px, ${count} anchors`;
  head.append(element("span", `${i + 1}`, { className: "number" }), element("strong", words));
  const facts = element("div", "", { className: "quiet" });
  facts.append(line.how === "found" ? "found, not yet looked over; " : "traced, ");
  facts.append(giveField(`Give or take of ${name}, pixels`, line.give, (give) => marks.putLine({ ...line, give })));
  const does = element("div", "", { className: "does" });
  does.append(
    button("Show", `Show ${name}`, () => {
      const middle = pointsOf(line)[Math.floor(pointsOf(line).length / 2)];
      bench.view.bringIn(...middle);
      bench.choose({ id: line.id });
    }),
    button("Trace on", `Trace on from the end of ${name}`, () => {
      bench.chosen = { id: line.id, anchor: count - 1 };
      bench.goOn();
      bench.view.frame.focus({ preventScroll: true });
    }),
  );
  if (line.how === "found") {
    does.append(button("Looked over", `${name} is right as it is`, () => marks.putLine({ ...line, how: "traced" })));
  }
  does.append(button("Delete", `Delete ${name}`, () => marks.without(line.id)));
  item.append(head, facts, does);
  return item;
}

/** Make all lists anew; where a button of them had the focus, the one in its place has it again. */
function showLists(bench) {
  const all = { landmarks: bench.marks.now.landmarks.map((one, i) => landmarkItem(one, i, bench)) };
  for (const of of ["skyline", "brow"]) {
    all[of] = bench.marks.now.lines.filter((line) => line.of === of).map((line, i) => lineItem(line, i, bench));
  }
  for (const [of, items] of Object.entries(all)) {
    const list = document.getElementById(`list-${of}`);
    const inside = list.contains(document.activeElement);
    const fields = [...list.querySelectorAll("button, input")];
    const at = inside ? fields.indexOf(document.activeElement) : -1;
    list.replaceChildren(...items);
    document.getElementById(`count-${of}`).textContent = items.length ? `${items.length}` : "none";
    document.getElementById(`none-${of}`).hidden = items.length > 0;
    if (inside) {
      const again = [...list.querySelectorAll("button, input")];
      (again[Math.min(at, again.length - 1)] || bench.view.frame).focus({ preventScroll: true });
    }
  }
}
