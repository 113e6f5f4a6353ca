// Maps over crank speed and manifold pressure. Cells without a lesson are hatched.
const columns = () => report.map.rpm.length;
const pressureLabel = (map_pa) => fixed(map_pa * units.pressure[0], units.pressureDigits);
const place = (cell) => {
  const rpm = report.map.rpm[cell % columns()], map_pa = report.map.map_pa[Math.floor(cell / columns())];
  return fixed(rpm, 0) + " rpm, " + pressureLabel(map_pa) + " " + units.pressure[1];
};

// `values`: one per cell; `known`: false for hatched cells; `scale`: colours, low, high, digits, ends, and optionally `transform`
// from value to colour.
const drawCells = (id, { title, values, known, empty, scale }) => {
  if (columns() === 0 || values.every((value) => value == null)) return missing(id, title + ": not computed for this run.");
  const at = (cell) => [cell % columns(), Math.floor(cell / columns())];
  const transform = scale.transform ?? ((value) => value);
  const filled = [], hatched = [];
  values.forEach((value, cell) => (known[cell] && value != null ? filled.push([...at(cell), transform(value), cell]) : hatched.push([...at(cell), 0, cell])));
  const width = byId(id).clientWidth;
  const room = (width - 78) / columns();
  const sign = scale.low < 0 ? signed : fixed;
  const light = scale.colours.map((each) => { const [r, g, b] = [1, 3, 5].map((from) => parseInt(each.slice(from, from + 2), 16)); return 0.299 * r + 0.587 * g + 0.114 * b > 140; });
  const [low, high] = [transform(scale.low), transform(scale.high)];
  const inkOn = (transformed) => {
    const share = Math.min(1, Math.max(0, (transformed - low) / (high - low)));
    return light[Math.round(share * (light.length - 1))] ? "#1d2329" : "#ffffff";
  };
  const tip = ({ data }) => "<b>" + place(data.value[3]) + "</b><br>" + title + ": " + cellText(values, known, empty, scale, data.value[3]);
  const cellSeries = { type: "heatmap", coordinateSystem: "cartesian2d", emphasis: { itemStyle: { borderColor: colour("ink"), borderWidth: 2 } } };
  const chart = show(id, {
    aria: { enabled: false },
    title: { text: title, left: 8, top: 8, textStyle: { fontSize: 13, fontWeight: 600, color: colour("ink") } },
    tooltip: { ...common().tooltip, trigger: "item", formatter: tip },
    grid: plot({ right: 12, top: 38, bottom: 88 }),
    xAxis: axis({ type: "category", data: report.map.rpm.map((rpm) => fixed(rpm, 0)), name: "crank speed [rpm]", nameLocation: "middle", nameGap: 26, splitLine: { show: false },
      axisLabel: { color: colour("soft"), fontSize: 10, interval: room >= 26 ? 0 : "auto" } }),
    yAxis: axis({ type: "category", data: report.map.map_pa.map(pressureLabel), name: "MAP [" + units.pressure[1] + "]", nameLocation: "middle", nameGap: 38, splitLine: { show: false } }),
    visualMap: {
      type: "continuous", seriesIndex: 0, dimension: 2, min: low, max: high, inRange: { color: scale.colours }, calculable: false, hoverLink: false,
      orient: "horizontal", left: "center", bottom: 6, itemWidth: 12, itemHeight: width > 430 ? 220 : 110, text: [scale.ends[1], scale.ends[0]], textStyle: { color: colour("soft") },
    },
    series: [
      { ...cellSeries, itemStyle: { borderColor: colour("card"), borderWidth: 1 },
        data: filled.map((value) => ({ value, label: { color: inkOn(value[2]) } })),
        label: { show: room >= 18, fontSize: Math.min(10, 0.4 * room), formatter: ({ value }) => sign(values[value[3]], scale.digits) } },
      { ...cellSeries, itemStyle: { color: colour("empty"), borderColor: colour("card"), borderWidth: 1,
        decal: { symbol: "rect", color: colour("hatch"), dashArrayX: [1, 0], dashArrayY: [1, 5], rotation: -Math.PI / 4 } },
        data: hatched.map((value) => ({ value })) },
    ],
  });
  byId(id).cells = { filled, hatched, values, known, empty, scale, title };
  return chart;
};
const cellText = (values, known, empty, scale, cell) => {
  const value = values[cell] == null ? null : (scale.low < 0 ? signed : fixed)(values[cell], scale.tipDigits ?? scale.digits) + " " + scale.unit;
  return known[cell] && value != null ? value : empty + (value != null && scale.low < 0 ? " (holds " + value + ")" : "");
};

const diverging = (high, ends, digits) => ({ colours: MORE_LESS, low: -high, high, digits, tipDigits: 1, unit: "%", ends });
const UNCERTAINTY = "Uncertainty (standard deviation) [%]";
const uncertaintyScale = () => ({ colours: [...VIRIDIS].reverse(), low: 0, high: 4, digits: 1, tipDigits: 2, unit: "%", ends: ["certain: 0 %", "4 % or more"] });
const correctionScale = () => {
  const high = reach([...report.map.learned_ln, ...report.map.true_ln].map(percent), 5);
  return diverging(high, ["−" + high + " % less fuel", "more fuel +" + high + " %"], 0);
};
const NOT_VISITED = "not visited: nothing learned";

const drawMaps = () => {
  const map = report.map;
  const all = Array(columns() * map.map_pa.length).fill(true);
  const visited = map.visited.length > 0 ? map.visited : all;
  drawCells("cells-learned", { title: "Learned correction [%]", values: map.learned_ln.map(percent), known: visited, empty: NOT_VISITED, scale: correctionScale() });
  drawCells("cells-true", { title: "True correction [%]", values: map.true_ln.map(percent), known: all, empty: "not known", scale: correctionScale() });
  const remaining = map.true_ln.map((truth, cell) => (truth == null || map.learned_ln[cell] == null ? null : percent(map.learned_ln[cell] - truth)));
  const high = reach(remaining.filter((_, cell) => visited[cell]), 2);
  drawCells("cells-error", { title: "Remaining error: learned minus true [%]", values: remaining, known: visited, empty: NOT_VISITED,
    scale: diverging(high, ["−" + high + " % too lean", "too rich +" + high + " %"], 1) });
  drawCells("cells-sigma", { title: UNCERTAINTY, values: map.sigma_ln.map((ln) => (ln == null ? null : 100 * ln)), known: visited, empty: NOT_VISITED,
    scale: uncertaintyScale() });
  const longest = reach(map.dwell_s, 10);
  drawCells("cells-dwell", { title: "Time in steady state [s]", values: map.dwell_s, known: map.dwell_s.map((dwell) => dwell > 0), empty: "no dwell",
    scale: { colours: CIVIDIS, low: 0, high: longest, transform: Math.sqrt, digits: 0, tipDigits: 1, unit: "s", ends: ["0 s", longest + " s or more"] } });
  const filling = map.base_filling.map((value) => (value == null ? null : 100 * value));
  const least = 10 * Math.floor(Math.min(...filling.filter((value) => value != null)) / 10), most = reach(filling, 10);
  drawCells("cells-base", { title: "Filling efficiency at the start [%]", values: filling, known: all, empty: "not known",
    scale: { colours: VIRIDIS, low: least, high: most, digits: 0, tipDigits: 1, unit: "%", ends: [least + " %", most + " %"] } });
};

// The selected cell is highlighted in all maps.
const MAPS = ["cells-learned", "cells-true", "cells-error", "cells-sigma", "replay-learned", "replay-sigma", "cells-dwell", "cells-base"];
const pointAt = (cell, from) => {
  for (const id of MAPS.filter((each) => byId(each).cells && charts[each])) {
    const { filled, hatched } = byId(id).cells;
    charts[id].dispatchAction({ type: "downplay", seriesIndex: [0, 1] });
    [filled, hatched].forEach((list, seriesIndex) => {
      const dataIndex = list.findIndex((value) => value[3] === cell);
      if (dataIndex < 0) return;
      charts[id].dispatchAction({ type: "highlight", seriesIndex, dataIndex });
      if (id === from) charts[id].dispatchAction({ type: "showTip", seriesIndex, dataIndex });
    });
  }
};
const listenMaps = () => {
  for (const id of MAPS.filter((each) => charts[each])) {
    const element = byId(id);
    let cursor = 0;
    element.tabIndex = 0;
    element.setAttribute("role", "application");
    element.setAttribute("aria-label", element.cells.title + ". Arrow keys move from cell to cell.");
    charts[id].on("mouseover", ({ data }) => data?.value && pointAt(data.value[3]));
    element.addEventListener("keydown", (event) => {
      const move = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: columns(), ArrowDown: -columns() }[event.key];
      if (!move) return;
      event.preventDefault();
      const next = cursor + move;
      const sameRow = Math.floor(next / columns()) === Math.floor(cursor / columns());
      if (next >= 0 && next < element.cells.values.length && (Math.abs(move) > 1 || sameRow)) cursor = next;
      pointAt(cursor, id);
      const { values, known, empty, scale, title } = element.cells;
      byId("cells-readout").textContent = place(cursor) + ": " + title + " " + cellText(values, known, empty, scale, cursor);
    });
  }
};
