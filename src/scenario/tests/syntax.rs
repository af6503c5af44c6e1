//! Text that is no TOML, as it comes from people: the cause first, and what follows from it not at all.

use super::places::{SMALL, changed, problems, short};

/// The small scenario with a second workload and a promise each, all `from` replaced.
fn two(from: &str, to: &str) -> String {
    let text = format!(
        "{SMALL}[workload.promise]\np99 = \"2ms\"\n[[workload]]\nname = \"files\"\nhosts = \"db\"\narray = \"vault\"\n\
         protocol = \"nvme-tcp\"\narrivals = {{ poisson = \"1k/s\" }}\nsizes = \"8KiB\"\n[workload.promise]\np99 = \"2ms\"\n"
    );
    assert!(text.contains(from), "`{from}` is in the text");
    short(&problems(&text.replace(from, to), &[]))
}

#[test]
fn two_workloads_are_sound() {
    assert_eq!(two("db", "db"), "");
}

#[test]
fn a_missing_quote_names_the_value_with_its_quotes() {
    insta::assert_snapshot!(changed("sizes = \"8KiB\"", "sizes = 8KiB"), @r#"22:9^4 `8KiB` stands without quotes | "8KiB", in quotes: only numbers, true and false go without"#);
    insta::assert_snapshot!(changed("sizes = \"8KiB\"", "sizes = \"8KiB"), @"22:14^1 a string is not closed in this line | a quote at its end, like the one it began with");
    insta::assert_snapshot!(changed("sizes = \"8KiB\"", "read = 70%\nsizes = \"8KiB\""), @r#"22:8^3 `70%` stands without quotes | "70%", in quotes: only numbers, true and false go without"#);
    insta::assert_snapshot!(changed("\"25GbE\"", "25GbE # fast"), @r#"11:11^3 `25GbE` stands without quotes | "25GbE", in quotes: only numbers, true and false go without"#);
    insta::assert_snapshot!(changed("\"20k/s\"", "20k/s"), @r#"21:24^5 `20k/s` stands without quotes | "20k/s", in quotes: only numbers, true and false go without"#);
}

#[test]
fn what_else_is_wrong_is_told_beside_missing_quotes() {
    // No string may stand for a number: that is said, and not the quotes. The next line is judged all the same.
    insta::assert_snapshot!(changed("sizes = \"8KiB\"", "sizes = 8KiB\nread = 70\nvolumes = many"), @r#"
    22:9^4 `8KiB` stands without quotes | "8KiB", in quotes: only numbers, true and false go without
    23:8^2 `read` of workload `orders` is no share of 1 | did you mean "70%"?
    24:11^4 `volumes` of workload `orders` is a string | a whole number from 1 to 1000000
    "#);
}

#[test]
fn a_plural_heading_is_the_only_problem_of_a_text_that_is_sound_but_for_it() {
    insta::assert_snapshot!(two("[[workload]]", "[[workloads]]"), @"16:3^9 no table is called `workloads` | did you mean `[[workload]]`?");
    insta::assert_snapshot!(two("[[host]]", "[[hosts]]"), @"2:3^5 no table is called `hosts` | did you mean `[[host]]`?");
    insta::assert_snapshot!(two("[[switch]]", "[[switches]]"), @"4:3^8 no table is called `switches` | did you mean `[[switch]]`?");
    insta::assert_snapshot!(two("[workload.promise]", "[workloads.promise]"), @"23:2^9 no table is called `workloads` | did you mean `[workload.…]`?");
}

#[test]
fn a_misspelt_heading_without_room_for_the_right_one_is_reported_alone() {
    insta::assert_snapshot!(two("[[workload]]", "[[worload]]"), @"16:3^7 no table is called `worload` | did you mean `[[workload]]`?");
}

#[test]
fn what_is_wrong_elsewhere_is_found_behind_a_plural_heading() {
    insta::assert_snapshot!(short(&problems(&SMALL.replace("[[host]]", "[[hosts]]").replace("nvme-tcp", "tcp-nvme"), &[])), @r#"
    2:3^5 no table is called `hosts` | did you mean `[[host]]`?
    20:12^10 `protocol` of workload `orders` cannot be `tcp-nvme` | did you mean `nvme-tcp`?
    "#);
}

#[test]
fn one_bracket_for_one_of_several_is_said_once_a_heading() {
    insta::assert_snapshot!(two("[[workload]]", "[workload]"), @r#"
    16:1^10 `[workload]` stands for the only workload, and there are more | `[[workload]]`, two brackets: one of several
    25:1^10 `[workload]` stands for the only workload, and there are more | `[[workload]]`, two brackets: one of several
    "#);
}

#[test]
fn an_open_heading_folds_away_what_follows_from_it() {
    insta::assert_snapshot!(two("[[workload]]\nname = \"files\"", "[[workload]\nname = \"files\""), @"25:12^1 a heading is not closed | `]]` at its end");
}

#[test]
fn a_key_that_is_there_twice_names_the_first() {
    insta::assert_snapshot!(changed("hosts = \"db\"", "hosts = \"db\"\nhosts = \"db\""), @"19:1^5 the same key is there twice | it is already in line 18");
    insta::assert_snapshot!(changed("[[host]]", "[run]\nseed = 2\n[run]\nseed = 3\n[[host]]"), @"4:2^3 the same key is there twice | it is already in line 2");
}

#[test]
fn a_colon_is_told_once_a_line() {
    insta::assert_snapshot!(changed("hosts = \"db\"", "hosts: \"db\""), @"18:6^1 this is not TOML: `:` between a key and its value | `key = value`");
}

#[test]
fn a_sound_text_with_headings_inside_strings_stays_sound() {
    let text = SMALL.replacen(
        "format = 1",
        "format = 1\ntitle = \"\"\"\n[[hosts]]\n\"\"\"",
        1,
    );
    assert_eq!(short(&problems(&text, &[])), "");
}

#[test]
fn values_of_another_habit_are_guessed() {
    insta::assert_snapshot!(changed("\"8KiB\"", "\"64K\""), @r#"22:9^5 `sizes` of workload `orders` is not a size | did you mean "64KiB" (65536 bytes) or "64kB" (64000)?"#);
    insta::assert_snapshot!(changed("\"8KiB\"", "{ \"8kb\" = 1 }"), @r#"22:11^5 `8kb` in sizes of workload `orders` is no size | did you mean "8KiB" (8192 bytes) or "8kB" (8000)?"#);
    insta::assert_snapshot!(changed("\"20k/s\"", "\"20k\""), @r#"21:24^5 `poisson` of arrivals of workload `orders` is not I/Os per second | did you mean "20k/s"?"#);
    insta::assert_snapshot!(changed("\"20k/s\"", "20000"), @r#"21:24^5 `poisson` of arrivals of workload `orders` is an integer without a unit | did you mean "20000/s"?"#);
    insta::assert_snapshot!(changed("sizes = \"8KiB\"", "sizes = \"8KiB\"\nread = 70"), @r#"23:8^2 `read` of workload `orders` is no share of 1 | did you mean "70%"?"#);
    insta::assert_snapshot!(changed("sizes = \"8KiB\"", "size = \"8KiB\""), @"22:1^4 unknown key `size` in workload `orders` | did you mean `sizes`?");
    insta::assert_snapshot!(changed("\"nvme-tcp\"", "\"tcp-nvme\""), @"20:12^10 `protocol` of workload `orders` cannot be `tcp-nvme` | did you mean `nvme-tcp`?");
    insta::assert_snapshot!(changed("\"nvme-tcp\"", "\"scsi-fc\""), @"20:12^9 `protocol` of workload `orders` cannot be `scsi-fc` | did you mean `fc-scsi`?");
    insta::assert_snapshot!(changed("\"25GbE\"", "\"25Gbps\""), @"11:9^8 `speed` of link `db-edge` names no technology `25Gbps` | did you mean `25GbE`?");
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\ncount = \"3\""), @"4:9^3 `count` of host `db` stands in quotes | a whole number from 1 to 4096, without quotes");
}

#[test]
fn a_bracket_left_open_is_the_only_problem() {
    insta::assert_snapshot!(changed("{ poisson = \"20k/s\" }", "{ poisson = \"20k/s\""), @"21:12^1 this `{` is not closed before the next key | a `}` where it ends");
    insta::assert_snapshot!(changed("hosts = \"db\"", "hosts = [\"db\" # and no more"), @"18:9^1 this `[` is not closed before the next key | a `]` where it ends");
    insta::assert_snapshot!(changed("hosts = \"db\"", "hosts = [\"db\" \"db\"]"), @"18:15^1 this is not TOML: missing comma between array elements | `,`");
}

#[test]
fn habits_of_other_languages_are_told() {
    insta::assert_snapshot!(changed("\"db\"", "\u{201C}db\u{201D}"), @r#"3:8^4 `“db”` stands in curly quotes | "db", in straight ones"#);
    insta::assert_snapshot!(changed("sizes", "success = True\nsizes"), @"22:11^4 `True` is no word of TOML | true, in small letters");
    insta::assert_snapshot!(changed("sizes =", "sizes =="), @"22:8^1 this is not TOML: `==` | one `=`");
}

#[test]
fn a_table_of_no_name_is_told_instead_of_what_it_may_hold() {
    insta::assert_snapshot!(changed("[[host]]", "[[machine]]"), @r#"
    2:3^7 unknown key `machine` in the scenario | keys here: format, title, run, timers, chassis, host, switch, array, link, workload, shape, day, group, outage, event, variant, step, growth
    9:8^4 `from` of link `db-edge` names an unknown part `db` | hosts, switches and arrays: edge, vault
    18:9^4 `hosts` of workload `orders` names an unknown host `db` | there are no hosts
    "#);
}
