//! The load over a day: what is read, and every problem with its place.

use super::places::{SMALL, changed, problems, short};
use super::site;

const DAY: &str = "[0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 0.3, 0.6, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0.6, 0.3, 0.3, 0.2, 0.2, 0.2, \"10%\"]";
const RATE: &str = "{ poisson = \"20k/s\" }";

fn with(shape: &str) -> String {
    format!("{{ poisson = \"20k/s\", shape = {shape} }}")
}

#[test]
fn a_shape_is_read_as_a_list_by_name_and_for_all() {
    let list = site(&SMALL.replace(RATE, &with(DAY)), &[]);
    let named = format!(
        "{}[[shape]]\nname = \"office\"\ndaily = {DAY}\n",
        SMALL.replace(RATE, &with("\"office\""))
    );
    let all =
        format!("{SMALL}[day]\nshape = \"office\"\n[[shape]]\nname = \"office\"\ndaily = {DAY}\n");
    let shape = list.workloads[0].shape.expect("it states one");
    assert_eq!((shape.at(0), shape.at(8), shape.at(23)), (0.1, 1.0, 0.1));
    assert_eq!(site(&named, &[]).workloads[0].shape, Some(shape));
    assert_eq!(site(&all, &[]).workloads[0].shape, Some(shape));
    // From outside, too; and a load that does not change.
    let set = [("workload.orders.arrivals.shape", "constant")];
    assert_eq!(site(&all, &set).workloads[0].shape, None);
    let set = [("day.shape", DAY)];
    assert_eq!(site(SMALL, &set).workloads[0].shape, Some(shape));
    let marks = &list.assumptions;
    let mark = marks
        .iter()
        .find(|mark| mark.key == "workload.orders.arrivals.shape");
    assert_eq!(
        mark.map(|mark| mark.what.as_str()),
        Some("load over the day, arrivals of workload `orders`")
    );
}

#[test]
fn every_wrong_factor_is_named_at_its_place() {
    let wrong = DAY
        .replacen("0.3, 0.6, 1", "-1, 1.5, \"x\"", 1)
        .replace(", \"10%\"", "");
    let found = changed(RATE, &with(&wrong));
    let lines: Vec<&str> = found.lines().collect();
    assert_eq!(lines.len(), 4, "{found}");
    assert!(
        found.contains("has 23 factors | 24 factors from 0 to 1"),
        "{found}"
    );
    for hour in [6, 7, 8] {
        assert!(
            found.contains(&format!("has no factor for hour {hour} |")),
            "{found}"
        );
    }
    // Each at its own column of the one line.
    let mut places: Vec<&str> = lines
        .iter()
        .filter_map(|line| line.split('^').next())
        .collect();
    places.dedup();
    assert_eq!(places.len(), 4, "{found}");
}

#[test]
fn the_busiest_hour_has_the_stated_rate() {
    let half = DAY
        .replace(
            "1, 1, 1, 1, 1, 1, 1, 1, 1",
            "0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5",
        )
        .replace("0.6", "0.4");
    let found = problems(&SMALL.replace(RATE, &with(&half)), &[]);
    assert!(
        short(&found).contains("reaches 0.5 at most | at least one hour with the factor 1"),
        "{found:?}"
    );
    assert!(
        found[0].help.contains("multiply the rate by 0.5"),
        "{found:?}"
    );
    let zero = format!("[{}]", ["0"; 24].join(", "));
    assert!(changed(RATE, &with(&zero)).contains("is 0 in every hour"));
}

#[test]
fn names_and_kinds_are_checked() {
    assert!(changed(RATE, &with("\"office\"")).contains("names a shape, and there is none"));
    assert!(changed(RATE, &with("3")).contains("the name of a [[shape]], or \"constant\""));
    let more = |tail: &str| short(&problems(&format!("{SMALL}{tail}"), &[]));
    let shape = format!("[[shape]]\nname = \"office\"\ndaily = {DAY}\n");
    assert!(more(&format!("[day]\nshape = \"ofice\"\n{shape}")).contains("unknown shape `ofice`"));
    assert!(more("[day]\n").contains("has no `shape`"));
    assert!(more(&format!("[day]\nshap = \"office\"\n{shape}")).contains("unknown key `shap`"));
    assert!(more(&shape.replace("office", "constant")).contains("has a meaning already"));
    assert!(more(&shape.replace("daily", "dayly")).contains("has no `daily`"));
    assert!(more(&format!("{shape}{shape}")).contains("`office` is used twice"));
}
