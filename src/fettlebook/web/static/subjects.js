// Which subjects an entry touches: the same rule as book/kinds/subjects.py, held against it by a test.
const ONE = ["chair", "machine", "load", "unit", "pack", "visit", "sample", "solution", "person", "day"];
const MANY = { units: "unit", packs: "pack" };
const OF_CHAIR = ["outlets", "suction"];

export function subjectsOf(data) {
  const found = [];
  for (const name of ONE) if (data[name] !== undefined) found.push(`${name}:${data[name]}`);
  for (const name of OF_CHAIR) for (const one of data[name] || []) found.push(`${name === "outlets" ? "outlet" : name}:${data.chair}/${one}`);
  for (const [name, subject] of Object.entries(MANY)) for (const one of data[name] || []) found.push(`${subject}:${one}`);
  for (const item of data.items || []) {
    found.push(`unit:${item.unit}`);
    if (item.pack !== undefined) found.push(`pack:${item.pack}`);
  }
  if (data.product !== undefined) found.push(data.lot === undefined ? `product:${data.product}` : `product:${data.product}/${data.lot}`);
  if (data.notice !== undefined || (data.duty !== undefined && data.chair === undefined && data.machine === undefined)) found.push("practice:all");
  return [...new Set(found)];
}
