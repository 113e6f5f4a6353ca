// Draws the charts of a study; `report` is the list of charts.
const COLOURS = ["blue", "orange", "green", "red", "grey"];
const DASHES = ["solid", [7, 3], [2, 3], [9, 3, 2, 3], "solid"];
const named = (name, more) => axis({ name, nameLocation: "middle", ...more });

// Colours of the kinds of fields from good to bad: viridis, lightened for the dark theme, with distinct lightness, so that they differ in
// grey, with any colour vision, and from the background.
const KINDS = { light: ["#b8de29", "#238a8d", "#482677"], dark: ["#e2ec5a", "#2fb5a0", "#8566cf"] };

// A number with three significant digits.
const brief = (value) => (value == null ? "–" : plain(Number(value.toPrecision(3))));

const DRAW = {
  lines: (id, title, { x_label, y_label, logarithmic, lines }) => {
    const { top, ...head } = headed(id, y_label, lines.map((line) => line.name));
    return show(id, {
      ...head,
      tooltip: { ...common().tooltip, trigger: "axis", valueFormatter: brief },
      grid: plot({ top, bottom: 46 }),
      xAxis: named(x_label, { type: "value", nameGap: 24, min: "dataMin", max: "dataMax" }),
      yAxis: axis({ type: logarithmic ? "log" : "value", splitNumber: 5 }),
      series: lines.map((line, index) => ({
        type: line.dots ? "scatter" : "line", name: line.name, color: colour(COLOURS[index % COLOURS.length]), data: line.points,
        // Rings around dots, so that coinciding points are visible.
        symbol: line.dots ? (index % 2 ? "emptyCircle" : "circle") : "none", symbolSize: index % 2 ? 12 : 6, lineStyle: { width: 2, type: DASHES[index % DASHES.length] }, emphasis: { disabled: true },
      })),
    });
  },
  columns: (id, title, { x_label, y_label, labels, heights }) => show(id, {
    tooltip: { ...common().tooltip, trigger: "axis", axisPointer: { type: "shadow" }, valueFormatter: brief },
    grid: plot({ top: 24, bottom: 46 }),
    xAxis: named(x_label, { type: "category", data: labels, nameGap: 26 }),
    yAxis: named(y_label, { type: "value", nameGap: 40, minInterval: 1 }),
    series: [{ type: "bar", name: title, color: colour("blue"), data: heights, barCategoryGap: "8%" }],
  }),
  fields: (id, title, { x_label, y_label, columns, rows, values, kinds }) => {
    const { narrow, title: head } = headed(id, y_label, kinds);
    const colours = KINDS[document.documentElement.dataset.look];
    show(id, {
      tooltip: {
        ...common().tooltip, trigger: "item",
        formatter: ({ value: [column, row, kind] }) => escaped(x_label + " " + columns[column] + ", " + y_label + " " + rows[row] + ": " + kinds[kind]),
      },
      title: head,
      grid: plot({ top: narrow ? 44 + 24 * kinds.length : 44, bottom: 46 }),
      xAxis: named(x_label, { type: "category", data: columns, nameGap: 26, splitLine: { show: false } }),
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

keepDrawn(() => report.forEach(({ title, drawing }, index) => DRAW[drawing.kind]("drawing-" + index, title, drawing)));
body.dataset.ready = "yes";
