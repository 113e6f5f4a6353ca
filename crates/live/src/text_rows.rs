//! Breaking of text into rows.

/// Breaks a text between words into rows of at most `width` characters; a longer word gets a row of its own.
///
/// ```
/// use trimwright_live::wrapped;
/// assert_eq!(wrapped("one two  three", 7), ["one two", "three"]);
/// assert_eq!(wrapped("unbreakable", 3), ["unbreakable"]);
/// assert!(wrapped(" ", 3).is_empty());
/// ```
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match rows.last_mut() {
            Some(row) if row.chars().count() + 1 + word.chars().count() <= width => {
                row.push(' ');
                row.push_str(word);
            }
            _ => rows.push(word.to_owned()),
        }
    }
    rows
}
