// Buttons, fields, files, and the first look.

function takeFields() {
  const [x, y] = [byId("x").value, byId("y").value];
  if (x === "" || y === "") return;
  const isGood = fits(Number(x), given.picture.width) && fits(Number(y), given.picture.height);
  if (!isGood) return say(`Across goes from 0 to ${given.picture.width}, down from 0 to ${given.picture.height}.`);
  place(chosen.name, Number(x), Number(y), false);
  bringIntoView(record.now.points[chosen.name]);
  refresh(chosen.name);
}

function takeSigma() {
  const text = byId("sigma").value;
  const value = Number(text);
  if (!record.now.points[chosen.name]) return;
  if (text !== "" && !(Number.isFinite(value) && value > 0 && value <= given.picture.width + given.picture.height)) return say("Give or take must be more than 0.");
  setSigma(chosen.name, text === "" ? null : value);
  refresh(chosen.name);
}

function undo() {
  say(back() ? "Undone." : "Nothing to undo.");
  refresh(null);
}

function redo() {
  say(again() ? "Done again." : "Nothing to redo.");
  refresh(null);
}

function save() {
  const address = URL.createObjectURL(new Blob([asFile()], { type: "application/json" }));
  const link = document.createElement("a");
  link.href = address;
  link.download = given.fileName;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
  record.saved = record.now;
  say(`Saved as ${given.fileName}.`);
}

async function load() {
  const field = byId("load");
  const file = field.files[0];
  if (!file) return;
  try {
    if (file.size > given.mostBytes) throw new Error("This file is far too large for a points file.");
    readFile(await file.text());
    record.saved = record.now;
    alarm("");
    say("Points taken over.");
  } catch (error) {
    alarm(error.message);
  }
  field.value = "";
  refresh(null);
}

function onAnyKey(event) {
  if (!(event.ctrlKey || event.metaKey) || event.target.matches?.("input, select")) return;
  const key = event.key.toLowerCase();
  if (key === "z") (event.shiftKey ? redo : undo)();
  else if (key === "y") redo();
  else if (key === "s") save();
  else return;
  event.preventDefault();
}

function onListKey(event) {
  const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  const at = names.indexOf(chosen.name);
  const to = way ? at + way : { Home: 0, End: names.length - 1 }[event.key];
  if (event.key === "Enter") stage.focus();
  else if (to === undefined) return;
  else if (to >= 0 && to < names.length) {
    choose(names[to], true);
    byId(`item-${names[to]}`).focus();
  }
  event.preventDefault();
}

function look(act) {
  return () => {
    act();
    draw();
  };
}

function wire() {
  const clicks = {
    save, undo, redo, keep: keepChosen, unseen: hideChosen, clear: clearChosen, next: () => chooseNext(1),
    nearer: () => zoomAtChosen(1.4), farther: () => zoomAtChosen(1 / 1.4), whole: look(showWhole),
    closeup: look(() => {
      view.zoom = Math.max(view.zoom, 6 / grainAt(record.now.points[chosen.name].x, record.now.points[chosen.name].y));
      centreOn(record.now.points[chosen.name]);
    }),
  };
  for (const [id, act] of Object.entries(clicks)) byId(id).addEventListener("click", act);
  for (const button of document.querySelectorAll("[data-move]")) {
    const [dx, dy] = button.dataset.move.split(",").map(Number);
    button.addEventListener("click", () => nudge(dx * Number(byId("step").value), dy * Number(byId("step").value)));
  }
  byId("x").addEventListener("change", takeFields);
  byId("y").addEventListener("change", takeFields);
  byId("sigma").addEventListener("change", takeSigma);
  byId("load").addEventListener("change", load);
  byId("list").addEventListener("keydown", onListKey);
  document.addEventListener("keydown", onAnyKey);
  window.addEventListener("beforeunload", (event) => {
    if (record.now !== record.saved) event.preventDefault();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  new ResizeObserver(draw).observe(stage);
}

buildList();
buildDrawings();
wire();
chosen.name = names.find((name) => stateOf(name) === "todo") ?? names[0];
showHead();
refresh(null);
