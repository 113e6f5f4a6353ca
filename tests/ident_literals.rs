//! Tunable numbers of the controller are parameters with range, unit and source, not literals in the code.

use std::fs;
use std::path::Path;

/// Largest number of literals in the code: guards against invalid numbers, and periods of the tasks.
const MOST: usize = 20;
/// Literals without a relation to an engine.
const PLAIN: [f64; 4] = [0.0, 0.5, 1.0, 2.0];
/// Constants that are not tunable, by file and name: unit conversions, constants of physics, a standard or the board, and units of stored
/// integers.
const GIVEN: [(&str, &str); 17] = [
    ("clock.rs", "S_PER_US"),
    ("enrichment.rs", "STANDARD_KG_PER_M3"),
    ("base_map.rs", "BAR_PER_PA"),
    ("film.rs", "KRPM_PER_RAD_PER_S"),
    ("plausibility.rs", "SUPPLY_DIVIDER"),
    ("thermistor.rs", "REFERENCE_V"),
    ("thermistor.rs", "TEN_KILO_OHM"),
    ("thermistor.rs", "TWO_KILO_OHM"),
    ("base_map.rs", "R_AIR"),
    ("base_map.rs", "OUTSIDE_PA"),
    ("nitrous.rs", "STOICH_RATIO"),
    ("persistence.rs", "LN_UNIT"),
    ("persistence.rs", "SIGMA_UNIT"),
    ("persistence.rs", "FILM_LN_UNIT"),
    ("persistence.rs", "FILM_SIGMA_UNIT"),
    ("persistence.rs", "FLOW_UNIT"),
    ("persistence.rs", "DELAY_UNIT"),
];
/// Beginnings of excluded items: parameters and tests.
const LEFT_OUT: [&str; 4] = ["parameters!", "blocks!", "choice!", "#[cfg(test)]"];

/// The code with comments, strings and characters replaced by blanks; line numbers are kept.
fn code(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let (mut made, mut at) = (String::new(), 0);
    let starts = |at: usize, what: &str| what.chars().eq(letters[at..].iter().copied().take(what.len()));
    while at < letters.len() {
        let begun = at;
        if starts(at, "//") {
            at += letters[at..].iter().take_while(|letter| **letter != '\n').count();
        } else if starts(at, "/*") {
            while at < letters.len() && !starts(at, "*/") {
                at += 1;
            }
            at += 2;
        } else if letters[at] == '"' || letters[at] == '\'' && is_character(&letters[at..]) {
            at += 1;
            while at < letters.len() && letters[at] != letters[begun] {
                at += 1 + usize::from(letters[at] == '\\');
            }
            at += 1;
        } else {
            made.push(letters[at]);
            at += 1;
            continue;
        }
        at = at.min(letters.len());
        made.extend(letters[begun..at].iter().map(|letter| if *letter == '\n' { '\n' } else { ' ' }));
    }
    made
}

/// Whether a quote begins a character, not a lifetime.
fn is_character(from_quote: &[char]) -> bool {
    from_quote.get(1) == Some(&'\\') || from_quote.get(2) == Some(&'\'')
}

/// Replaces the items with this beginning by blanks.
fn without(code: &str, beginning: &str) -> String {
    let mut left = code.to_owned();
    while let Some(begun) = left.find(beginning) {
        let (mut depth, mut end) = (0, left.len());
        for (place, letter) in left[begun..].char_indices() {
            depth += match letter {
                '{' | '(' | '[' => 1,
                '}' | ')' | ']' => -1,
                _ => 0,
            };
            if depth == 0 && (letter == '}' || letter == ';') {
                end = begun + place + 1;
                break;
            }
        }
        let blank: String =
            left[begun..end].chars().map(|letter| if letter == '\n' { '\n' } else { ' ' }).collect();
        left.replace_range(begun..end, &blank);
    }
    left
}

/// The float literals of a line; integers, tuple fields and ranges are none.
fn floats(line: &str) -> Vec<&str> {
    let (bytes, mut found, mut at) = (line.as_bytes(), Vec::new(), 0);
    while at < bytes.len() {
        let begins_word =
            at == 0 || !(bytes[at - 1].is_ascii_alphanumeric() || b"_.".contains(&bytes[at - 1]));
        let after_range = at > 1 && &bytes[at - 2..at] == b"..";
        if !bytes[at].is_ascii_digit() || !(begins_word || after_range) {
            at += 1;
            continue;
        }
        let begun = at;
        while at < bytes.len() {
            let point = bytes[at] == b'.'
                && !bytes.get(at + 1).is_some_and(|next| b"._".contains(next) || next.is_ascii_alphabetic());
            let sign = b"+-".contains(&bytes[at])
                && b"eE".contains(&bytes[at - 1])
                && !line[begun..at].starts_with("0x");
            if !(bytes[at].is_ascii_alphanumeric() || bytes[at] == b'_' || point || sign) {
                break;
            }
            at += 1;
        }
        let word = &line[begun..at];
        let after_digits = word.trim_start_matches(|letter: char| letter.is_ascii_digit() || letter == '_');
        if after_digits.starts_with(['.', 'e', 'E', 'f']) {
            found.push(word);
        }
    }
    found
}

/// Value of a literal.
fn value(word: &str) -> f64 {
    let digits = word.replace("f32", "").replace("f64", "").replace('_', "");
    digits.parse().unwrap_or_else(|_| panic!("{word} is no number"))
}

/// Literals of a file that should be parameters: line and text.
fn numbers(name: &str, text: &str) -> Vec<(usize, String)> {
    let mut code = LEFT_OUT.iter().fold(code(text), |code, beginning| without(&code, beginning));
    for (_, constant) in GIVEN.iter().filter(|(file, _)| *file == name) {
        assert!(code.contains(&format!("const {constant}:")), "{name} has no {constant}");
        code = without(&code, &format!("const {constant}:"));
    }
    let of = |(number, line): (usize, &str)| {
        let odd = floats(line).into_iter().filter(|word| !PLAIN.contains(&value(word)));
        odd.map(|word| (number + 1, word.to_owned())).collect::<Vec<_>>()
    };
    code.lines().enumerate().flat_map(of).collect()
}

#[test]
fn ident_literals_are_recognised() {
    let text = "const A: f32 = 1.5; // 3.5\nlet b = \"4.5\"; x.0 + 2.5e-3 * 7_f32 - t.1.0; 0..=9; 0x1e5; 7usize; 1.0; 'a' '\\''\n\
                fn f<'a>() { 3.max(4); y * 1e3; 1..2.5 }\nparameters! { a { 8.5 } }\n#[cfg(test)]\nmod tests { 6.5 }\nlet c = 9.25;";
    let found: Vec<(usize, String)> = numbers("none.rs", text);
    let found_words: Vec<(usize, &str)> = found.iter().map(|(line, word)| (*line, word.as_str())).collect();
    assert_eq!(found_words, [(1, "1.5"), (2, "2.5e-3"), (2, "7_f32"), (3, "1e3"), (3, "2.5"), (7, "9.25")]);
}

#[test]
fn ident_the_controller_has_few_literals() {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("crates/control/src");
    let mut files: Vec<_> =
        fs::read_dir(&sources).expect("sources").map(|entry| entry.expect("a file").path()).collect();
    files.sort();
    let (mut found_words, mut count) = (String::new(), 0);
    for path in files {
        assert!(path.is_file(), "{}: a folder, whose files would go uncounted", path.display());
        let name = path.file_name().and_then(|name| name.to_str()).expect("a name");
        for (line, word) in numbers(name, &fs::read_to_string(&path).expect("text")) {
            count += 1;
            found_words += &format!("crates/control/src/{name}:{line}: {word}\n");
        }
    }
    assert!(count <= MOST, "{found_words}{count} numbers are no parameters, {MOST} may be left");
}
