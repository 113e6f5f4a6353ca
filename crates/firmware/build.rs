//! Hands the memory map to the linker.

use std::env;
use std::path::PathBuf;

fn main() -> std::io::Result<()> {
    println!("cargo::rerun-if-changed=memory.x");
    let out = PathBuf::from(env::var_os("OUT_DIR").ok_or(std::io::ErrorKind::NotFound)?);
    std::fs::copy("memory.x", out.join("memory.x"))?;
    println!("cargo::rustc-link-search={}", out.display());
    Ok(())
}
