//! Names that other programs accept.

/// `name` in ASCII letters, digits and underscores, beginning with a letter, and unlike all
/// `taken` ones, which it joins.
pub(super) fn plain(name: &str, longest: usize, taken: &mut Vec<String>) -> String {
    let letters = name.chars().map(|letter| {
        if letter.is_ascii_alphanumeric() {
            letter
        } else {
            '_'
        }
    });
    let mut base: String = letters.collect();
    if !base.starts_with(|letter: char| letter.is_ascii_alphabetic()) {
        base.insert_str(0, "n_");
    }
    base.truncate(longest);
    let mut name = base.clone();
    let mut number = 2;
    // Programs differ in whether they tell capitals apart, so names differ without them.
    while taken.iter().any(|other| other.eq_ignore_ascii_case(&name)) {
        let ending = format!("_{number}");
        let mut shorter = base.clone();
        shorter.truncate(longest - ending.len());
        name = shorter + &ending;
        number += 1;
    }
    taken.push(name.clone());
    name
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn names_are_plain_short_and_all_different() {
        let mut taken = Vec::new();
        let mut name = |text: &str| plain(text, 8, &mut taken);
        assert_eq!(name("rocker"), "rocker");
        assert_eq!(name("Rocker"), "Rocker_2");
        assert_eq!(name("2nd eye"), "n_2nd_ey");
        assert_eq!(name("n_2nd_eyelet"), "n_2nd__2");
        assert_eq!(name("Öse"), "n__se");
    }
}
