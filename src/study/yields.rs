//! What evaluations have brought, by the ways in which they were spent.

/// What evaluations of one kind have brought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Yield {
    /// How often that was done.
    pub times: u64,
    /// Evaluations spent.
    pub evaluations: u64,
    /// Feasible layouts in cells of the archive that were empty.
    pub layouts: u64,
    /// Layouts worth a row of the ranking, in cells that were empty or held worse ones.
    pub ranked: u64,
}

/// As if each kind had brought one layout with so many evaluations before, so that what was hardly
/// tried is not given up.
const BEFORE: f64 = 64.0;

impl Yield {
    /// Adds what others have brought.
    pub fn add(&mut self, other: Self) {
        self.times += other.times;
        self.evaluations += other.evaluations;
        self.layouts += other.layouts;
        self.ranked += other.ranked;
    }

    /// Counts for half.
    pub fn halve(&mut self) {
        for count in [
            &mut self.times,
            &mut self.evaluations,
            &mut self.layouts,
            &mut self.ranked,
        ] {
            *count /= 2;
        }
    }

    /// Layouts, and rows of the ranking, for each evaluation.
    pub fn rates(self) -> [f64; 2] {
        let spent = self.evaluations as f64 + BEFORE;
        [self.layouts, self.ranked].map(|count| (count as f64 + 1.0) / spent)
    }
}

/// How a start begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Origin {
    /// Anywhere in the room.
    Anywhere,
    /// Near layouts that are known.
    Near,
}

impl Origin {
    /// Both, in the order of their yields.
    pub const ALL: [Self; 2] = [Self::Anywhere, Self::Near];
}

/// What each way to spend evaluations has brought.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Yields {
    /// First stages, in which everything is to be met, by origin.
    pub met: [Yield; 2],
    /// Second stages, in which the score is lowered, by origin.
    pub lowered: [Yield; 2],
    /// Both stages, by size of shock with chainring.
    pub sizes: Vec<Yield>,
}

impl Yields {
    /// Nothing yet, of so many sizes.
    pub fn none(sizes: usize) -> Self {
        Self {
            met: [Yield::default(); 2],
            lowered: [Yield::default(); 2],
            sizes: vec![Yield::default(); sizes],
        }
    }

    /// All of them, in the order of records.
    pub fn all(&self) -> impl Iterator<Item = &Yield> {
        let stages = self.met.iter().chain(&self.lowered);
        stages.chain(&self.sizes)
    }

    /// All of them, in the order of records.
    pub fn all_mut(&mut self) -> impl Iterator<Item = &mut Yield> {
        let stages = self.met.iter_mut().chain(&mut self.lowered);
        stages.chain(&mut self.sizes)
    }

    /// Adds what others have brought.
    pub fn add(&mut self, other: &Self) {
        for (to, more) in self.all_mut().zip(other.all()) {
            to.add(*more);
        }
    }

    /// Takes up what the two stages of a start have brought.
    pub fn take(&mut self, origin: Origin, size: usize, [met, lowered]: [Yield; 2]) {
        self.met[origin as usize].add(met);
        self.lowered[origin as usize].add(lowered);
        if let Some(of_size) = self.sizes.get_mut(size) {
            of_size.add(met);
            of_size.add(lowered);
        }
    }

    /// What starts of one origin have brought in both stages.
    pub fn of(&self, origin: Origin) -> Yield {
        let mut both = self.met[origin as usize];
        both.add(self.lowered[origin as usize]);
        both
    }
}
