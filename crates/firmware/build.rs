//! Passes the memory map to the linker, and with feature `defmt` the section of the log's texts.

use std::env;
use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    println!("cargo::rerun-if-changed=memory.x");
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or(std::io::ErrorKind::NotFound)?);
    std::fs::copy("memory.x", out.join("memory.x"))?;
    println!("cargo::rustc-link-search={}", out.display());
    if env::var_os("CARGO_FEATURE_DEFMT").is_some() {
        println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
    }
    Ok(())
}
