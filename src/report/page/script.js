"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const one = (id) => document.getElementById(id);
  // Whole numbers in their last decimal, each row as its change from the one before.
  const unpacked = (rows, decimals) => {
    const last = [];
    return rows.map((row) => row.map((change, column) => {
      if (change === null) return null;
      last[column] = (last[column] ?? 0) + change;
      return last[column] / 10 ** decimals(column);
    }));
  };
  for (const layout of data.layouts) {
    layout.places = unpacked(layout.places, () => data.places);
    layout.values = unpacked(layout.values, (column) => data.decimals[column]);
    [layout.numbers] = unpacked(layout.numbers, (column) => data.numbers[column]);
  }
  const byRank = new Map(data.layouts.map((layout) => [layout.rank, layout]));
  const slider = one("travel"), output = one("travel-now"), play = one("play");
  let shown = data.layouts[0], beside = null, playing = null;

  const put = (selector, text) => all(selector).forEach((element) => { element.textContent = text; });
  const written = (value, decimals) => (value === null ? "–" : value.toFixed(decimals));

  // Between two moments everything is straight enough for the eye.
  const between = (rows, layout, travel) => {
    const last = layout.values.length - 1;
    let after = layout.values.findIndex((values) => values[0] >= travel);
    if (after < 0) after = last;
    const before = Math.max(0, after - 1);
    const from = layout.values[before][0], to = layout.values[after][0];
    const share = to > from ? (travel - from) / (to - from) : 1;
    return rows[after].map((end, index) => {
      const begin = rows[before][index];
      return begin === null || end === null ? null : begin + share * (end - begin);
    });
  };
  const total = (layout) => layout.values[layout.values.length - 1][0];
  const sag = (layout) => layout.values[layout.sag][0];

  const move = (group, places, trailsOf) => {
    const [scale, left, top] = group.ownerSVGElement.dataset.placed.split(" ").map(Number);
    const at = (index) => {
      const x = places[2 * index], y = places[2 * index + 1];
      return x === null || x === undefined ? [-9999, -9999] : [left + x * scale, top - y * scale];
    };
    const through = (list) => "M" + list.map(([x, y]) => x.toFixed(1) + " " + y.toFixed(1)).join("L");
    const numbers = (text) => text.split(" ").map(Number);
    for (const element of group.children) {
      const { at: place, line, area, trail } = element.dataset;
      if (place !== undefined) element.setAttribute("transform", `translate(${at(+place).join(" ")})`);
      else if (line) element.setAttribute("d", through(numbers(line).map(at)));
      else if (area) element.setAttribute("d", through(numbers(area).map(at)) + "Z");
      else if (trail && trailsOf) {
        const way = trailsOf.places
          .map((places) => [places[2 * trail], places[2 * trail + 1]])
          .filter(([x]) => x !== null)
          .map(([x, y]) => [left + x * scale, top - y * scale].map((v) => Math.max(-20000, Math.min(20000, v))));
        element.setAttribute("d", way.length ? through(way) : "");
      }
    }
  };
  const pose = (name, places, trailsOf) =>
    all(`[data-pose=${name}]`).forEach((group) => move(group, places, trailsOf));

  const show = () => {
    const travel = Math.min(+slider.value, total(shown));
    const share = Math.round((100 * travel) / total(shown));
    output.textContent = `${travel.toFixed(1)} mm`;
    slider.setAttribute("aria-valuetext", `${travel.toFixed(1)} mm of travel, ${share} %`);
    pose("now", between(shown.places, shown, travel));
    const values = between(shown.values, shown, travel);
    all("[data-quantity]").forEach((cell) => {
      const index = +cell.dataset.quantity;
      cell.textContent = written(values[index], data.decimals[index]);
    });
    if (beside) {
      // The same share of the travel, so that top meets top and end meets end.
      const theirs = (travel / total(shown)) * total(beside);
      pose("other", between(beside.places, beside, theirs));
      const others = between(beside.values, beside, theirs);
      all("[data-quantity-beside]").forEach((cell) => {
        const index = +cell.dataset.quantityBeside;
        cell.textContent = written(others[index], data.decimals[index]);
      });
    }
    const named = travel === 0 ? "top" : travel >= total(shown) ? "end"
      : Math.abs(travel - sag(shown)) < 0.06 ? "sag" : `${travel.toFixed(1)} mm of travel`;
    put("[data-place]", named);
    all(".cursor").forEach((cursor) => {
      const [origin, step] = cursor.dataset.scale.split(" ").map(Number);
      const place = origin + step * travel;
      cursor.setAttribute("transform", cursor.dataset.along === "y" ? `translate(0 ${place})` : `translate(${place} 0)`);
      cursor.classList.add("set");
    });
  };

  const numbers = () => {
    shown.numbers.forEach((value, index) => {
      const decimals = data.numbers[index];
      put(`[data-number="${index}"]`, written(value, decimals));
      if (!beside) return;
      const change = beside.numbers[index] - value;
      put(`[data-number-beside="${index}"]`, written(beside.numbers[index], decimals));
      put(`[data-number-change="${index}"]`, (change < 0 ? "−" : "+") + Math.abs(change).toFixed(decimals));
    });
  };

  const select = (tell) => {
    const classes = (element, rank) => {
      element.classList.toggle("shown", rank === shown.rank);
      element.classList.toggle("other", !!beside && rank === beside.rank);
    };
    all("svg [data-layout]").forEach((group) => classes(group, +group.dataset.layout));
    // What stands out is drawn over what does not.
    for (const layout of [beside, shown]) {
      if (layout) all(`svg [data-layout="${layout.rank}"]`).forEach((group) => {
        const cursor = group.parentNode.querySelector(".cursor");
        group.parentNode.insertBefore(group, cursor);
      });
    }
    all("[data-row]").forEach((row) => classes(row, +row.dataset.row));
    all("[data-panel]").forEach((panel) => {
      const rank = +panel.dataset.panel;
      panel.hidden = rank !== shown.rank && !(beside && rank === beside.rank);
    });
    all(".second").forEach((cell) => { cell.hidden = !beside; });
    all("[data-pose=other]").forEach((group) => group.classList.toggle("set", !!beside));
    put("[data-shown]", shown.rank);
    put("[data-beside]", beside ? ` beside ${beside.rank}` : "");
    put("[data-beside-number]", beside ? beside.rank : "");
    const alone = one("alone");
    if (alone) alone.hidden = !beside;
    pose("top", shown.places[0]);
    pose("end", shown.places[shown.places.length - 1]);
    pose("now", shown.places[shown.sag], shown);
    if (beside) pose("other", beside.places[beside.sag], beside);
    slider.max = total(shown);
    numbers();
    show();
    if (tell) one("status").textContent = beside
      ? `Layout ${shown.rank} is shown, layout ${beside.rank} dashed beside it.`
      : `Layout ${shown.rank} is shown.`;
  };

  const stop = () => {
    if (playing !== null) cancelAnimationFrame(playing);
    playing = null;
    play.textContent = "Play";
    play.setAttribute("aria-pressed", "false");
  };
  const start = () => {
    const begun = performance.now(), round = 4000;
    const step = (time) => {
      // Down and up again, slower at the ends, once.
      const share = Math.min(1, (time - begun) / round);
      slider.value = total(shown) * (1 - Math.cos(2 * Math.PI * share)) / 2;
      show();
      if (share < 1) playing = requestAnimationFrame(step);
      else { stop(); slider.value = sag(shown); show(); }
    };
    play.textContent = "Stop";
    play.setAttribute("aria-pressed", "true");
    playing = requestAnimationFrame(step);
  };

  const sortBy = (heading) => {
    const table = heading.closest("table"), body = table.tBodies[0];
    const column = [...heading.parentNode.children].indexOf(heading);
    const rising = heading.getAttribute("aria-sort") !== "ascending";
    all("th[aria-sort]", table).forEach((other) => other.removeAttribute("aria-sort"));
    heading.setAttribute("aria-sort", rising ? "ascending" : "descending");
    const key = (row) => Number(row.children[column].dataset.key);
    [...body.rows]
      .sort((a, b) => (rising ? 1 : -1) * (key(a) - key(b)) || a.dataset.row - b.dataset.row)
      .forEach((row) => body.append(row));
  };

  all("[data-needs-script]").forEach((element) => { element.hidden = false; });
  slider.addEventListener("input", () => { stop(); show(); });
  play.addEventListener("click", () => (playing === null ? start() : stop()));
  all("[data-go]").forEach((button) => button.addEventListener("click", () => {
    stop();
    slider.value = { top: 0, sag: sag(shown), end: total(shown) }[button.dataset.go];
    show();
    one("status").textContent = `At ${button.dataset.go}, ${(+slider.value).toFixed(1)} mm of travel.`;
  }));
  all("input[name=look]").forEach((radio) => radio.addEventListener("change", () => {
    stop();
    const share = +slider.value / total(shown), atSag = Math.abs(+slider.value - sag(shown)) < 0.06;
    shown = byRank.get(+radio.value);
    if (beside === shown) leaveAlone();
    slider.max = total(shown);
    slider.value = atSag ? sag(shown) : share * total(shown);
    select(true);
  }));
  const leaveAlone = () => {
    beside = null;
    all("input[name=beside]").forEach((radio) => { radio.checked = false; });
  };
  all("input[name=beside]").forEach((radio) => radio.addEventListener("change", () => {
    const layout = byRank.get(+radio.value);
    if (layout === shown) leaveAlone();
    else beside = layout;
    select(true);
  }));
  one("alone")?.addEventListener("click", () => { leaveAlone(); select(true); });
  all("button.sort").forEach((button) => button.addEventListener("click", () => sortBy(button.closest("th"))));
  select(false);
})();
