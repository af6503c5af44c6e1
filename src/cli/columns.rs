//! Plain aligned columns for the terminal.

/// How a column is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Sets rows under their heads, two spaces between columns, no trailing spaces. Rows shorter than the
/// head are filled with nothing.
pub(super) fn columns(head: &[(&str, Align)], rows: &[Vec<String>]) -> String {
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(|cell| cell.chars().count())
            .chain([head[column].0.chars().count()])
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..head.len()).map(width).collect();
    let set = |cells: &[String]| {
        let line: Vec<String> = head
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(index, ((_, align), width))| {
                let cell = cells.get(index).map_or("", String::as_str);
                match align {
                    Align::Left => format!("{cell:<width$}"),
                    Align::Right => format!("{cell:>width$}"),
                }
            })
            .collect();
        format!("{}\n", line.join("  ").trim_end())
    };
    let titles: Vec<String> = head.iter().map(|(title, _)| (*title).to_owned()).collect();
    let mut text = set(&titles);
    for row in rows {
        text.push_str(&set(row));
    }
    text
}

/// A number with at most so many decimals, without zeros at the end.
pub(super) fn decimals(value: f64, most: usize) -> String {
    let text = format!("{value:.most$}");
    if !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_left_and_numbers_right() {
        let rows = [
            vec!["a".to_owned(), "1".to_owned()],
            vec!["long".to_owned(), "100".to_owned()],
        ];
        assert_eq!(
            columns(&[("name", Align::Left), ("n", Align::Right)], &rows),
            "name    n\na       1\nlong  100\n"
        );
    }

    #[test]
    fn decimals_end_where_they_end() {
        let texts = [(27.2, "27.2"), (100.0, "100"), (28.05, "28.05"), (0.0, "0")];
        for (value, text) in texts {
            assert_eq!(decimals(value, 4), text);
        }
        assert_eq!(decimals(100.0, 0), "100");
    }
}
