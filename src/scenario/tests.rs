//! Tests of the reader: the shipped scenarios, every kind of problem with its place, and that nothing panics.

use super::*;

fn none(_: &str) -> Result<String, String> {
    Err("no such file".to_owned())
}

fn load(text: &str) -> Result<Loaded, String> {
    read(
        Source {
            name: "x.toml",
            text,
        },
        &[],
        &none,
    )
    .map_err(|problems| render_problems(&problems))
}

#[test]
fn the_demo_reads() {
    let loaded =
        load(include_str!("../../scenarios/ostrel.toml")).unwrap_or_else(|text| panic!("{text}"));
    assert_eq!(loaded.site.title, "Ostrel Valley Tramways");
}
