// Draws the charts of a study; `story` is their list.
const COLOURS = ["blue", "orange", "green", "red", "grey"];
const DASHES = ["solid", [7, 3], [2, 3], [9, 3, 2, 3], "solid"];
const named = (name, more) => axis({ name, nameLocation: "middle", ...more });

// Kinds of fields from good to bad: viridis, for the dark look lightened, far apart in lightness too, so that they are told apart in grey,
// by every colour vision, and from the card that they lie on.
const KINDS = { light: ["#b8de29", "#238a8d", "#482677"], dark: ["#e2ec5a", "#2fb5a0", "#8566cf"] };

// A number with as many decimals as its size calls for.
const brief = (value) => (value == null ? "–" : plain(Number(value.toPrecision(3))));

const DRAW = {
  lines: (id, title, { across, up, logarithmic, lines }) => {
    const { top, ...head } = headed(id, up, lines.map((line) => line.name));
    return show(id, {
      ...head,
      tooltip: { ...common().tooltip, trigger: "axis", valueFormatter: brief },
      grid: plot({ top, bottom: 46 }),
      xAxis: named(across, { type: "value", nameGap: 24, min: "dataMin", max: "dataMax" }),
      yAxis: axis({ type: logarithmic ? "log" : "value", splitNumber: 5 }),
      series: lines.map((line, index) => ({
        type: line.dots ? "scatter" : "line", name: line.name, color: colour(COLOURS[index % COLOURS.length]), data: line.points,
        // Rings around dots: two that fall together are both seen.
        symbol: line.dots ? (index % 2 ? "emptyCircle" : "circle") : "none", symbolSize: index % 2 ? 12 : 6, lineStyle: { width: 2, type: DASHES[index % DASHES.length] }, emphasis: { disabled: true },
      })),
    });
  },
  columns: (id, title, { across, up, labels, heights }) => show(id, {
    tooltip: { ...common().tooltip, trigger: "axis", axisPointer: { type: "shadow" }, valueFormatter: brief },
    grid: plot({ top: 24, bottom: 46 }),
    xAxis: named(across, { type: "category", data: labels, nameGap: 26 }),
    yAxis: named(up, { type: "value", nameGap: 40, minInterval: 1 }),
    series: [{ type: "bar", name: title, color: colour("blue"), data: heights, barCategoryGap: "8%" }],
  }),
  fields: (id, title, { across, up, columns, rows, values, kinds }) => {
    const { narrow, title: head } = headed(id, up, kinds);
    const colours = KINDS[document.documentElement.dataset.look];
    show(id, {
      tooltip: {
        ...common().tooltip, trigger: "item",
        formatter: ({ value: [column, row, kind] }) => escaped(across + " " + columns[column] + ", " + up + " " + rows[row] + ": " + kinds[kind]),
      },
      title: head,
      grid: plot({ top: narrow ? 44 + 24 * kinds.length : 44, bottom: 46 }),
      xAxis: named(across, { type: "category", data: columns, nameGap: 26, splitLine: { show: false } }),
      yAxis: axis({ type: "category", data: rows, splitLine: { show: false } }),
      visualMap: {
        type: "piecewise", ...(narrow ? { orient: "vertical", top: 26, left: 4, align: "left" } : { orient: "horizontal", top: 6, right: 16 }), dimension: 2, textStyle: { color: colour("soft") }, hoverLink: false, selectedMode: false,
        pieces: kinds.map((label, value) => ({ value, label, color: colours[value] })),
      },
      series: [{
        type: "heatmap", itemStyle: { borderColor: colour("card"), borderWidth: 1 },
        data: values.map((kind, index) => [index % columns.length, Math.floor(index / columns.length), kind]),
      }],
    });
  },
};

keepDrawn(() => story.forEach(({ title, drawing }, index) => DRAW[drawing.kind]("drawing-" + index, title, drawing)));
body.dataset.ready = "yes";
