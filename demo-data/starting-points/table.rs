// The kinds of linkage that `new` can start from: name, what it is, and its files. Kept beside
// the files, since the program itself knows no kind of linkage.
&[
    StartingPoint {
        name: "single-pivot",
        what: "one pivot carries the axle; a stay link and a rocker drive the shock",
        files: [
            ("README.md", include_str!("single-pivot/README.md")),
            ("bike.layout.json", include_str!("single-pivot/bike.layout.json")),
            ("bike.brief.json", include_str!("single-pivot/bike.brief.json")),
            (
                "leverage-rate.objectives.json",
                include_str!("single-pivot/leverage-rate.objectives.json"),
            ),
            (
                "anti-squat.objectives.json",
                include_str!("single-pivot/anti-squat.objectives.json"),
            ),
            (
                "anti-rise.objectives.json",
                include_str!("single-pivot/anti-rise.objectives.json"),
            ),
        ],
    },
    StartingPoint {
        name: "four-bar",
        what: "the axle sits on the seat stay, between two pivoted links; the upper link drives the shock",
        files: [
            ("README.md", include_str!("four-bar/README.md")),
            ("bike.layout.json", include_str!("four-bar/bike.layout.json")),
            ("bike.brief.json", include_str!("four-bar/bike.brief.json")),
            (
                "leverage-rate.objectives.json",
                include_str!("four-bar/leverage-rate.objectives.json"),
            ),
            (
                "anti-squat.objectives.json",
                include_str!("four-bar/anti-squat.objectives.json"),
            ),
            (
                "anti-rise.objectives.json",
                include_str!("four-bar/anti-rise.objectives.json"),
            ),
        ],
    },
    StartingPoint {
        name: "high-pivot",
        what: "one pivot high above the chainring, the chain led over an idler; a link and a rocker drive the shock",
        files: [
            ("README.md", include_str!("high-pivot/README.md")),
            ("bike.layout.json", include_str!("high-pivot/bike.layout.json")),
            ("bike.brief.json", include_str!("high-pivot/bike.brief.json")),
            (
                "leverage-rate.objectives.json",
                include_str!("high-pivot/leverage-rate.objectives.json"),
            ),
            (
                "anti-squat.objectives.json",
                include_str!("high-pivot/anti-squat.objectives.json"),
            ),
            (
                "anti-rise.objectives.json",
                include_str!("high-pivot/anti-rise.objectives.json"),
            ),
        ],
    },
    StartingPoint {
        name: "six-bar",
        what: "the axle sits on the seat stay, between two pivoted links; a pull link and a lever drive the shock",
        files: [
            ("README.md", include_str!("six-bar/README.md")),
            ("bike.layout.json", include_str!("six-bar/bike.layout.json")),
            ("bike.brief.json", include_str!("six-bar/bike.brief.json")),
            (
                "leverage-rate.objectives.json",
                include_str!("six-bar/leverage-rate.objectives.json"),
            ),
            (
                "anti-squat.objectives.json",
                include_str!("six-bar/anti-squat.objectives.json"),
            ),
            (
                "anti-rise.objectives.json",
                include_str!("six-bar/anti-rise.objectives.json"),
            ),
        ],
    },
]
