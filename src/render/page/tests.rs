use super::*;
use crate::render::sample::sample_report;
use std::collections::BTreeSet;

/// Values of an attribute, in order.
fn attribute<'a>(page: &'a str, name: &str) -> Vec<&'a str> {
    let start = format!(" {name}=\"");
    page.split(start.as_str())
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect()
}

#[test]
fn one_page_with_one_head_and_ids_that_differ() {
    let page = page(&sample_report());
    assert_eq!(page.matches("<h1").count(), 1);
    let ids = attribute(&page, "id");
    let distinct: BTreeSet<&str> = ids.iter().copied().collect();
    assert_eq!(ids.len(), distinct.len(), "an id stands twice");
    assert!(
        attribute(&page, "style").is_empty(),
        "the policy forbids style attributes"
    );
    assert!(page.contains("estimate"));
}

#[test]
fn names_cannot_become_markup() {
    let mut report = sample_report();
    let nasty = "<script>alert('\"&')</script>";
    report.origin.title = nasty.into();
    report.origin.scenario = nasty.into();
    let old = report.steady[0].workloads[0].name.clone();
    for steady in &mut report.steady {
        steady.workloads[0].name = nasty.into();
    }
    for switch in &mut report.switches {
        switch.workloads[0].name = nasty.into();
    }
    for row in &mut report.matrix.rows {
        if row.workload == old {
            row.workload = nasty.into();
        }
    }
    let page = page(&report);
    assert!(!page.contains("<script>alert"));
    assert!(page.contains("&lt;script&gt;alert"));
}

#[test]
fn a_report_without_switch_overs_or_remedies_is_still_a_page() {
    let mut report = sample_report();
    report.switches.clear();
    report.mends.clear();
    assert!(page(&report).ends_with("</html>\n") || page(&report).trim_end().ends_with("</html>"));
}
