// Moves a line along each picture and says what is left at each outlet then. Without it, the tables say the same at set times.
const curves = document.getElementById("curves");
const language = document.documentElement.lang;
const words = curves.dataset;
const known = curves.querySelector(".picture") ? await (await fetch(curves.dataset.address)).json() : { pictures: {} };

function shareAt(picture, shares, seconds) {
  const place = (seconds / picture.end_s) * (shares.length - 1);
  const low = Math.min(Math.floor(place), shares.length - 2);
  return shares[low] + (shares[low + 1] - shares[low]) * (place - low);
}

const digits = (value, count) => Number(value.toPrecision(count)).toLocaleString(language === "en" ? "en-GB" : language, { maximumFractionDigits: 12 });

function spoken(picture, share) {
  if (picture.missing) return `${digits((1 - share) * 100, 3)} %`;
  if (picture.full_mg_l !== null) return `${digits(picture.full_mg_l * share, 3)} mg/L`;
  if (share < 1e-5) return words.under;
  return share >= 0.001 ? `${digits(share * 100, 3)} %` : words.oneIn.replace("{n}", digits(1 / share, 3));
}

function asClock(seconds) {
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

for (const section of curves.querySelectorAll(".picture")) {
  const picture = known.pictures[section.dataset.what];
  if (!picture) continue;
  const slider = section.querySelector("input");
  const output = section.querySelector("output");
  const cursor = section.querySelector(".cursor");
  const heading = section.querySelector("th.at");
  const cells = section.querySelectorAll("td.at");
  const move = () => {
    const seconds = Number(slider.value);
    const x = known.left + ((known.right - known.left) * seconds) / picture.end_s;
    cursor.setAttribute("x1", x);
    cursor.setAttribute("x2", x);
    output.textContent = asClock(seconds);
    heading.textContent = words.at.replace("{n}", asClock(seconds));
    slider.setAttribute("aria-valuetext", asClock(seconds));
    picture.lines.forEach((line, n) => {
      const share = shareAt(picture, line.shares, seconds);
      const reached = share <= picture.aim * 1.02;
      cells[n].textContent = spoken(picture, share);
      cells[n].classList.toggle("reached", reached);
      const word = document.createElement("small");
      word.textContent = reached ? words.reached : words.notYet;
      cells[n].append(word);
    });
  };
  section.classList.add("moves");
  section.querySelector(".slide").hidden = false;
  cursor.setAttribute("visibility", "visible");
  for (const cell of section.querySelectorAll(".at")) cell.hidden = false;
  slider.addEventListener("input", move);
  move();
}
