use super::*;

fn one_fault(text: &str, read: impl Fn(&Node) -> bool) -> String {
    let value = parse("f.json", text).unwrap();
    let sink = Sink::new("f.json");
    read(&Node::root(&sink, &value));
    let faults = sink.into_faults();
    assert_eq!(faults.len(), 1, "{faults:?}");
    faults[0].to_string()
}

#[test]
fn syntax_faults_give_line_and_column() {
    let faults = parse("f.json", "{\n  \"a\": 1,\n}")
        .unwrap_err()
        .to_string();
    assert_eq!(
        faults,
        "f.json: line 3, column 1: found \"}\", expected valid JSON (trailing comma)"
    );
    let commaless = "{\n  \"a\": [1, 2]  \n\n  \"b\": 3\n}";
    let faults = parse("f.json", commaless).unwrap_err().to_string();
    assert_eq!(
        faults,
        "f.json: line 2, column 14: found the end of the line, expected `,` or `}` (JSON)"
    );
    let faults = parse("f.json", "{\"a\": 1 \"b\": 3}")
        .unwrap_err()
        .to_string();
    assert!(
        faults.contains("line 1, column 9: found \"\"\""),
        "{faults}"
    );
    let faults = parse("f.json", "{\"a\": [1, 2").unwrap_err().to_string();
    assert!(
        faults.contains("line 1, column 11: found the end of the text"),
        "{faults}"
    );
    assert!(
        parse("f.json", "[1e400]")
            .unwrap_err()
            .to_string()
            .contains("out of range")
    );
    assert!(
        parse("f.json", "[NaN]")
            .unwrap_err()
            .to_string()
            .contains("line 1, column 2")
    );
    assert!(parse("f.json", &"[".repeat(100_000)).is_err());
    assert!(parse("f.json", "").is_err());
    assert!(parse("f.json", "\u{feff}{}").is_ok());
}

#[test]
fn each_kind_of_fault_names_path_and_found() {
    let read = |node: &Node| node.object(&["name", "limits"], "a brief").is_some();
    let fault = one_fault("{\"limit\": 1}", read);
    assert!(
        fault.contains("limit: found the unknown key \"limit\""),
        "{fault}"
    );
    assert!(fault.ends_with("did you mean \"limits\"?"), "{fault}");
    let fault = one_fault("{\"name\": 1, \"name\": 2, \"name\": 3}", read);
    assert_eq!(
        fault,
        "f.json: name: found the key \"name\" twice, expected it once"
    );
    assert!(one_fault("[1, 2]", read).contains("found a list of 2, expected a brief"));

    let number = |node: &Node| node.number_within(1.0, 2.0, "a rate").is_some();
    assert!(one_fault("1e300", number).contains("found 1e+300, expected a rate, 1 to 2"));
    assert!(one_fault("null", number).contains("found null"));
    let whole = |node: &Node| node.whole(1, 9, "a count").is_some();
    assert!(one_fault("2.5", whole).contains("found 2.5, expected a count, a whole number"));
    let bounds = |node: &Node| node.bounds("bounds", |n| n.number("", |_| true)).is_some();
    assert!(one_fault("[3, 1]", bounds).ends_with("did you mean [1, 3]?"));
    assert!(one_fault("[3, 3]", bounds).contains("the empty range [3, 3]"));
    assert!(one_fault("[3]", bounds).contains("a list of 1"));
    let text = |node: &Node| node.text("a name").is_some();
    assert!(one_fault("\" \"", text).contains("found \" \", expected a name, not blank"));
    let choice = |node: &Node| node.choice(&[("over", 1), ("under", 2)]).is_some();
    assert!(one_fault("\"ovr\"", choice).contains("did you mean \"over\"?"));
}

#[test]
fn paths_quote_what_is_no_plain_word() {
    assert_eq!(join("", "a"), "a");
    assert_eq!(join("a", "b c"), "a[\"b c\"]");
    assert_eq!(join("a", ""), "a[\"\"]");
}

#[test]
fn numbers_are_written_as_the_same_bits() {
    for number in [
        0.0,
        -0.0,
        795.0,
        0.1 + 0.2,
        -402.6,
        5e-324,
        1e-7,
        9e15,
        1.0 / 3.0,
    ] {
        let read: f64 = serde_json::from_str(&number_text(number)).unwrap();
        assert_eq!(read.to_bits(), number.to_bits(), "{number}");
    }
    assert_eq!(number_text(795.0), "795");
}

proptest::proptest! {
    #[test]
    fn any_number_is_written_as_the_same_bits(number in proptest::num::f64::NORMAL | proptest::num::f64::SUBNORMAL) {
        let read: f64 = serde_json::from_str(&number_text(number)).unwrap();
        proptest::prop_assert_eq!(read.to_bits(), number.to_bits());
    }
}
