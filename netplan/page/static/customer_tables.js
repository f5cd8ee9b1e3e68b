// Who goes off, and who keeps gas by a bypass, a hose or an opened valve: priority first, then by street and number.
import { byId, cell } from "/static/state.js";

const inOrder = new Intl.Collator("en", { numeric: true });

// "Flat 3, 12 Weir Lane": the street, the house, then all that stands before the street.
function streetFirst(address) {
  const [, number, street] = address.match(/^(.*[0-9]\S*)\s+([^0-9]+)$/) || [null, "", address];
  return `${street} ${number.split(" ").pop()} ${number}`;
}

function fill(id, customers) {
  const rows = [...customers].sort((one, other) => Number(!one[4]) - Number(!other[4]) || inOrder.compare(streetFirst(one[3]), streetFirst(other[3])));
  byId(id).querySelector("tbody").replaceChildren(...rows.map(([, , name, address, priority, meters]) => {
    const row = document.createElement("tr");
    cell(row, name, "th").scope = "row";
    const where = cell(row, address);
    if (priority) {
      const mark = document.createElement("b");
      mark.textContent = ` ! ${priority}`;
      where.append(mark);
    }
    cell(row, String(meters));
    return row;
  }));
}

export function drawCustomers(option) {
  const kept = (option && option.kept) || [];
  fill("off", option ? option.off : []);
  byId("kept-part").hidden = !kept.length;
  fill("kept", kept);
}
