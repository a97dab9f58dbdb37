// Users' text is set as text, never as markup.
const made = (tag, words, classes) => {
  const one = document.createElement(tag);
  if (words) one.textContent = words;
  if (classes) one.className = classes;
  return one;
};

export default function ({ parentElement, data, setTriggerValue }) {
  const list = parentElement.querySelector(".list");
  const shown = JSON.stringify(data);
  if (list.dataset.shown === shown) return; // unchanged: keep the focus
  list.dataset.shown = shown;
  const table = made("table");
  table.setAttribute("aria-label", data.title);
  const head = table.createTHead().insertRow();
  for (const column of data.columns) {
    const cell = made("th", column.title, column.figures ? "figures" : "");
    cell.scope = "col";
    head.append(cell);
  }
  const body = table.createTBody();
  for (const [name, cells] of data.rows) {
    const row = body.insertRow();
    cells.forEach((words, at) => {
      const cell = row.insertCell();
      const column = data.columns[at];
      if (column.figures) cell.className = "figures";
      if (!words) cell.classList.add("empty");
      if (at) {
        cell.dataset.title = column.title;
        cell.append(made("span", words));
        return;
      }
      const open = made("button", words);
      open.type = "button";
      cell.append(open);
    });
    row.addEventListener("click", () => setTriggerValue("opened", name));
  }
  list.replaceChildren(table);
}
