// The page begins: everything is made, hung together and shown.

async function start() {
  const at = (id) => document.getElementById(id);
  const facts = JSON.parse(at("facts").textContent);
  const { photograph } = facts;
  const image = at("photograph");
  await image.decode();
  const pyramid = await Pyramid.of(image, photograph.width_px, photograph.height_px);
  const status = at("status");
  const say = (words) => (status.textContent = words);
  const keeping = new Keeping(photograph.sha256);
  const marks = new Marks(() => changed());
  const frame = at("stage");
  let bench = null;
  const view = new View(frame, at("under"), pyramid, () => bench && bench.draw());
  bench = new Bench(view, at("over"), pyramid, marks, facts.colours, new Chooser(at("chooser"), facts.features), say);
  let saved = null;

  const text = () => fileText(marks.now, photograph, facts.pixel_frame);
  function show() {
    showLists(bench);
    at("undo").disabled = !marks.past.length;
    at("redo").disabled = !marks.future.length;
    at("end-line").hidden = !bench.pen;
    const line = bench.chosen && marks.line(bench.chosen.id);
    const end = line && (bench.chosen.anchor === 0 || bench.chosen.anchor === line.anchors.length - 1);
    at("go-on").hidden = !end || Boolean(bench.pen);
    at("delete").hidden = !bench.chosen && !bench.pen;
    at("straight").hidden = !bench.tracing;
    at("unkept").hidden = keeping.works;
    at("text").value = text();
    for (const input of document.querySelectorAll("input[name=mode]")) input.checked = input.value === bench.mode;
  }
  function changed() {
    keeping.write(marks.now);
    bench.settle();
  }
  bench.told = show;

  // --- marks to begin with: those kept in the browser, else those that came with the page
  const given = () => (facts.marks ? readFile(JSON.stringify(facts.marks), photograph, () => marks.id()) : null);
  const kept = keeping.read();
  if (kept) marks.begin(kept);
  else if (facts.marks) marks.begin(given());
  saved = kept ? null : text();
  const empty = { landmarks: [], lines: [] };
  if (kept && !marks.empty) say("Your marks of before are here again.");

  // --- instruments
  const middle = (times) => view.zoomAt(...(bench.cursor || [view.width / 2, view.height / 2]), times);
  const doing = {
    zoom: middle,
    whole: () => view.showWhole(),
    undo: () => say(marks.undo() ? "Taken back." : "There is nothing to take back."),
    redo: () => say(marks.redo() ? "Done again." : "There is nothing to do again."),
    mode: (mode) => bench.setMode(mode),
    hide: () => {
      bench.hidden = !bench.hidden;
      at("hide").setAttribute("aria-pressed", String(bench.hidden));
      say(bench.hidden ? "The marks are hidden." : "The marks are shown.");
      bench.draw();
    },
  };
  const pressed = {
    undo: doing.undo,
    redo: doing.redo,
    "zoom-in": () => middle(1.6),
    "zoom-out": () => middle(1 / 1.6),
    whole: doing.whole,
    hide: doing.hide,
    straight: () => {
      bench.straight = !bench.straight;
      at("straight").setAttribute("aria-pressed", String(bench.straight));
      say(bench.straight ? "The next pieces are straight, and anchors stay where they are put." : "Pieces follow the edge again.");
    },
    "end-line": () => bench.finish(),
    "go-on": () => bench.goOn(),
    delete: () => bench.remove(),
  };
  for (const [id, does] of Object.entries(pressed)) at(id).addEventListener("click", does);
  for (const input of document.querySelectorAll("input[name=mode]")) {
    input.addEventListener("change", () => bench.setMode(input.value));
  }
  listenToKeys(bench, doing);

  // --- the file
  at("save").addEventListener("click", () => {
    bench.finish();
    saved = text();
    download(facts.file_name, saved);
    say(`Saved as ${facts.file_name}, in the folder that the browser saves to.`);
  });
  at("copy").addEventListener("click", async () => {
    bench.finish();
    const well = await copied(at("text"));
    if (well) saved = text();
    say(well ? "The text of the marks is on the clipboard." : "The text is chosen: copy it by hand.");
  });
  async function load(file) {
    const trouble = at("load-trouble");
    trouble.textContent = "";
    try {
      bench.finish();
      marks.put(readFile(await file.text(), photograph, () => marks.id()));
      saved = text();
      say("The marks are loaded. Undo brings back those of before.");
    } catch (error) {
      trouble.textContent = error.message;
    }
  }
  at("load").addEventListener("change", (event) => {
    if (event.target.files[0]) load(event.target.files[0]);
    event.target.value = "";
  });
  at("again").addEventListener("click", () => {
    bench.finish();
    marks.put(given() || empty);
    say("Begun again. Undo brings back the marks of before.");
  });
  window.addEventListener("beforeunload", (event) => {
    if (!keeping.works && saved !== text()) event.preventDefault();
  });
  window.addEventListener("storage", (event) => {
    if (event.key === keeping.key) at("elsewhere").hidden = false;
  });

  bench.settle();
  for (const figure of document.querySelectorAll("figure.compared")) {
    comparable(figure).catch(() => figure.classList.add("broken"));
  }
  document.body.dataset.ready = "yes";
}

start().catch((error) => {
  const status = document.getElementById("status");
  status.textContent = `This browser cannot show the page: ${error.message}. A newer browser will.`;
});
