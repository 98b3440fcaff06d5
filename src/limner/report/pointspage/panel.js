// The list of points, the panel of the chosen one, the drawings, and what is said aloud.

const chosen = { name: null };
const byId = (id) => document.getElementById(id);
// How each state is called wherever it is shown or said.
const inWords = { hand: "by hand", found: "as found", unseen: "not to be seen", todo: "to do" };

function say(text) {
  byId("said").textContent = text;
}

function alarm(text) {
  byId("alarm").textContent = text;
  byId("alarm").hidden = !text;
}

function number(value) {
  return (Math.round(value * 100) / 100).toString();
}

function spoken(name) {
  const point = record.now.points[name];
  const what = `${byName.get(name).plain}: ${inWords[stateOf(name)]}`;
  return point ? `${what}, across ${number(point.x)}, down ${number(point.y)}` : what;
}

function buildList() {
  for (const [index, group] of given.groups.entries()) {
    const box = document.createElement("div");
    box.className = "group";
    box.setAttribute("role", "group");
    const title = document.createElement("div");
    title.id = `group-${index}`;
    title.textContent = group.title;
    box.setAttribute("aria-labelledby", title.id);
    box.append(title, ...group.points.map(listItem));
    byId("list").append(box);
  }
}

function listItem(point) {
  const item = document.createElement("div");
  item.className = "item";
  item.id = `item-${point.name}`;
  item.setAttribute("role", "option");
  const plain = document.createElement("span");
  plain.className = "plain";
  plain.textContent = point.plain;
  const tag = document.createElement("span");
  tag.className = "tag";
  item.append(plain, " ", tag);
  item.addEventListener("click", () => choose(point.name, true));
  return item;
}

function buildDrawings() {
  for (const point of byName.values()) {
    for (const drawn of point.drawn) {
      const spotted = document.createElementNS("http://www.w3.org/2000/svg", "circle");
      spotted.setAttribute("cx", drawn.x);
      spotted.setAttribute("cy", drawn.y);
      spotted.setAttribute("r", 1.6);
      spotted.setAttribute("class", "spot");
      spotted.dataset.name = point.name;
      document.querySelector(`.drawings svg[data-view="${drawn.view}"]`).append(spotted);
    }
  }
}

function showDrawings() {
  for (const spotted of document.querySelectorAll(".drawings .spot")) {
    const isNow = spotted.dataset.name === chosen.name;
    spotted.classList.toggle("now", isNow);
    spotted.setAttribute("r", isNow ? 6 : 1.6);
    if (isNow) spotted.parentNode.append(spotted);
  }
}

function choose(name, isSaid) {
  chosen.name = name;
  record.lastStep = { name: null, at: 0 };
  const point = record.now.points[name];
  if (point && view.zoom && !grip?.moved) bringIntoView(point);
  if (!grip?.moved) refresh(isSaid ? name : null);
  showInList(name);
}

// Only the list scrolls, never the page: a finger may be on the picture.
function showInList(name) {
  const list = byId("list").parentNode;
  const [frame, item] = [list.getBoundingClientRect(), byId(`item-${name}`).getBoundingClientRect()];
  if (item.top < frame.top) list.scrollTop -= frame.top - item.top + 8;
  else if (item.bottom > frame.bottom) list.scrollTop += item.bottom - frame.bottom + 8;
}

function chooseNext(way) {
  const at = names.indexOf(chosen.name);
  for (let step = 1; step <= names.length; step += 1) {
    const name = names[(at + way * step + names.length * 2) % names.length];
    if (stateOf(name) === "todo") return choose(name, true);
  }
  say("Nothing is left to do.");
}

function keepChosen() {
  const point = record.now.points[chosen.name];
  if (point) place(chosen.name, point.x, point.y, false);
  refresh(chosen.name);
}

function hideChosen() {
  if (stateOf(chosen.name) !== "unseen") takeAway(chosen.name, true);
  refresh(chosen.name);
}

function clearChosen() {
  if (stateOf(chosen.name) !== "todo") takeAway(chosen.name, false);
  refresh(chosen.name);
}

function refreshList() {
  const counts = { hand: 0, found: 0, unseen: 0, todo: 0 };
  for (const name of names) {
    const state = stateOf(name);
    counts[state] += 1;
    const item = byId(`item-${name}`);
    const isChosen = name === chosen.name;
    item.dataset.state = state;
    item.tabIndex = isChosen ? 0 : -1;
    item.setAttribute("aria-selected", String(isChosen));
    item.lastChild.textContent = inWords[state];
  }
  byId("bar").max = names.length;
  byId("bar").value = names.length - counts.todo;
  byId("count").textContent = `${counts.hand} by hand, ${counts.found} as found, ${counts.unseen} not to be seen, ${counts.todo} to do`;
}

function refreshChosen() {
  const name = chosen.name;
  const point = record.now.points[name];
  const short = document.createElement("abbr");
  short.textContent = name;
  byId("chosen-name").replaceChildren(byName.get(name).plain, " ", short);
  byId("chosen-where").textContent = byName.get(name).where;
  byId("chosen-state").textContent = spoken(name).slice(byName.get(name).plain.length + 2);
  for (const [id, value] of [["x", point?.x], ["y", point?.y], ["sigma", point && (point.sigma ?? usualSigma(name, point))]]) {
    const field = byId(id);
    if (document.activeElement !== field) field.value = value === undefined ? "" : number(value);
  }
  byId("sigma").disabled = !point;
  byId("keep").disabled = point?.source !== "found";
  byId("unseen").disabled = stateOf(name) === "unseen";
  byId("clear").disabled = stateOf(name) === "todo";
  byId("undo").disabled = !record.past.length;
  byId("redo").disabled = !record.future.length;
  byId("closeup").disabled = !point;
  stage.setAttribute("aria-label", `Picture. Chosen: ${spoken(name)}`);
}

function refresh(saidName) {
  refreshList();
  refreshChosen();
  showDrawings();
  draw();
  if (saidName) say(spoken(saidName));
}
