//! x
#[cfg(test)]
pub(crate) mod tests { pub(crate) fn sheets() -> Vec<crate::outcome::PathSheet> { vec![] } }
