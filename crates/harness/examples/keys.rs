//! Writes the page of all keys of scenario and engine files, and the schemas by which editors check them, to `shared/schema`.
//!
//! `cargo run -p trimwright-harness --example keys`

use std::path::Path;

fn main() -> std::io::Result<()> {
    let shared = Path::new(env!("CARGO_MANIFEST_DIR")).join("shared");
    trimwright_harness::keys::files()
        .iter()
        .try_for_each(|(path, text)| std::fs::write(shared.join(path), text))
}
