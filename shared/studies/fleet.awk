# The figures of fleet.csv that tell most, as a table: awk -F, -f fleet.awk fleet.csv
# Rows of the first few engines are there to be driven anew.
/^#/ || $3 + 0 < 100 { next }
BEGIN {
    label["learned_map_rms"] = "Mixture error, learned map"
    label["settle_s"] = "Within 2 % after"
    label["over_offline_fit"] = "Left over that of a fit made afterwards"
    printf "%-42s%9s%9s%9s\n", "", "integral", "gradient", "kalman"
}
$2 in label { half[$2, $1] = $7; most[$2, $1] = $9 }
$2 == "within_two_sigma" { honest[$1] = $11 }
$2 == "stalls" { engines = $3; stalls += $11 * $3 }
function line(name, values, figure, unit, factor, digits) {
    printf "%-42s", name
    split("integral gradient kalman", learners, " ")
    for (i = 1; i <= 3; i++) printf "%9s", sprintf("%." digits "f%s", factor * values[figure, learners[i]], unit)
    print ""
}
END {
    line(label["learned_map_rms"] ", half", half, "learned_map_rms", " %", 100, 2)
    line("  nineteen of twenty", most, "learned_map_rms", " %", 100, 2)
    line(label["settle_s"] ", half", half, "settle_s", " s", 1, 0)
    line("  nineteen of twenty", most, "settle_s", " s", 1, 0)
    line(label["over_offline_fit"] ", half", half, "over_offline_fit", "", 1, 2)
    printf "%-42s", "Cells within two standard deviations"
    for (i = 1; i <= 3; i++) printf "%9s", sprintf("%.0f %%", 100 * honest[learners[i]])
    printf "\n%-42s%9d\n", "Stalls of " engines " engines, all learners", stalls
}
