//! Formulas as text, with derivatives: sums, products, powers and a few functions, parsed
//! into a list of operations and differentiated backwards through it.

/// One operation; arguments are positions earlier in the list.
#[derive(Clone, Copy, Debug)]
enum Operation {
    Constant(f64),
    Variable(usize),
    Add(usize, usize),
    Subtract(usize, usize),
    Multiply(usize, usize),
    Divide(usize, usize),
    Power(usize, usize),
    Function(Function, usize),
}

#[derive(Clone, Copy, Debug)]
enum Function {
    Sine,
    Cosine,
    Exponential,
    SquareRoot,
    Absolute,
}

/// A formula in named variables.
#[derive(Clone, Debug)]
pub struct Formula {
    operations: Vec<Operation>,
    values: Vec<f64>,
    slopes: Vec<f64>,
}

impl Formula {
    /// Reads `text`; variable `k` is called `names[k]`. A missing operator multiplies.
    pub fn parse(text: &str, names: &[String]) -> Self {
        let mut parser = Parser {
            text: text.as_bytes(),
            at: 0,
            names,
            operations: Vec::new(),
        };
        parser.sum();
        assert_eq!(parser.peek(), None, "{text} at {}", parser.at);
        let size = parser.operations.len();
        Self {
            operations: parser.operations,
            values: vec![0.0; size],
            slopes: vec![0.0; size],
        }
    }

    /// The value at `x`.
    pub fn value(&mut self, x: &[f64]) -> f64 {
        for (k, operation) in self.operations.iter().enumerate() {
            let v = &self.values;
            let value = match *operation {
                Operation::Constant(value) => value,
                Operation::Variable(index) => x[index],
                Operation::Add(a, b) => v[a] + v[b],
                Operation::Subtract(a, b) => v[a] - v[b],
                Operation::Multiply(a, b) => v[a] * v[b],
                Operation::Divide(a, b) => v[a] / v[b],
                Operation::Power(a, b) => power(v[a], v[b]),
                Operation::Function(function, a) => match function {
                    Function::Sine => libm::sin(v[a]),
                    Function::Cosine => libm::cos(v[a]),
                    Function::Exponential => libm::exp(v[a]),
                    Function::SquareRoot => v[a].sqrt(),
                    Function::Absolute => v[a].abs(),
                },
            };
            self.values[k] = value;
        }
        self.values.last().copied().unwrap()
    }

    /// Adds the gradient at `x` to `out`; variables beyond its length count as constants.
    pub fn gradient(&mut self, x: &[f64], out: &mut [f64]) {
        self.value(x);
        let s = &mut self.slopes;
        let v = &self.values;
        s.fill(0.0);
        *s.last_mut().unwrap() = 1.0;
        for (k, operation) in self.operations.iter().enumerate().rev() {
            let slope = s[k];
            match *operation {
                Operation::Constant(_) => {}
                Operation::Variable(index) => {
                    if let Some(entry) = out.get_mut(index) {
                        *entry += slope;
                    }
                }
                Operation::Add(a, b) => {
                    s[a] += slope;
                    s[b] += slope;
                }
                Operation::Subtract(a, b) => {
                    s[a] += slope;
                    s[b] -= slope;
                }
                Operation::Multiply(a, b) => {
                    s[a] += slope * v[b];
                    s[b] += slope * v[a];
                }
                Operation::Divide(a, b) => {
                    s[a] += slope / v[b];
                    s[b] -= slope * v[k] / v[b];
                }
                Operation::Power(a, b) => {
                    s[a] += slope * v[b] * power(v[a], v[b] - 1.0);
                    if !matches!(self.operations[b], Operation::Constant(_)) {
                        s[b] += slope * v[k] * libm::log(v[a]);
                    }
                }
                Operation::Function(function, a) => {
                    s[a] += slope
                        * match function {
                            Function::Sine => libm::cos(v[a]),
                            Function::Cosine => -libm::sin(v[a]),
                            Function::Exponential => v[k],
                            Function::SquareRoot => 0.5 / v[k],
                            Function::Absolute => v[a].signum(),
                        };
                }
            }
        }
    }
}

/// Power; whole exponents by multiplication, so that negative bases work.
fn power(base: f64, exponent: f64) -> f64 {
    if exponent == exponent.round() && exponent.abs() < 20.0 {
        let mut product = 1.0;
        let mut count = 0.0;
        while count < exponent.abs() {
            product *= base;
            count += 1.0;
        }
        if exponent < 0.0 {
            1.0 / product
        } else {
            product
        }
    } else {
        libm::pow(base, exponent)
    }
}

struct Parser<'a> {
    text: &'a [u8],
    at: usize,
    names: &'a [String],
    operations: Vec<Operation>,
}

impl Parser<'_> {
    fn push(&mut self, operation: Operation) -> usize {
        self.operations.push(operation);
        self.operations.len() - 1
    }

    fn peek(&mut self) -> Option<u8> {
        while self.text.get(self.at) == Some(&b' ') {
            self.at += 1;
        }
        self.text.get(self.at).copied()
    }

    fn take(&mut self, symbol: u8) -> bool {
        let found = self.peek() == Some(symbol);
        self.at += usize::from(found);
        found
    }

    fn sum(&mut self) -> usize {
        let mut left = self.product();
        loop {
            if self.take(b'+') {
                let right = self.product();
                left = self.push(Operation::Add(left, right));
            } else if self.take(b'-') {
                let right = self.product();
                left = self.push(Operation::Subtract(left, right));
            } else {
                return left;
            }
        }
    }

    fn product(&mut self) -> usize {
        let mut left = self.signed();
        loop {
            if self.take(b'*') {
                let right = self.signed();
                left = self.push(Operation::Multiply(left, right));
            } else if self.take(b'/') {
                let right = self.signed();
                left = self.push(Operation::Divide(left, right));
            } else if self
                .peek()
                .is_some_and(|symbol| symbol.is_ascii_alphanumeric() || symbol == b'(')
            {
                let right = self.signed();
                left = self.push(Operation::Multiply(left, right));
            } else {
                return left;
            }
        }
    }

    fn signed(&mut self) -> usize {
        if self.take(b'-') {
            let zero = self.push(Operation::Constant(0.0));
            let inner = self.signed();
            return self.push(Operation::Subtract(zero, inner));
        }
        let base = self.primary();
        if self.take(b'^') {
            let exponent = self.signed();
            // A bracketed constant such as (-3) is folded, so that it counts as one.
            if let [
                ..,
                Operation::Constant(zero),
                Operation::Constant(number),
                Operation::Subtract(..),
            ] = self.operations[..]
            {
                let folded = self.push(Operation::Constant(zero - number));
                return self.push(Operation::Power(base, folded));
            }
            return self.push(Operation::Power(base, exponent));
        }
        base
    }

    fn primary(&mut self) -> usize {
        if self.take(b'(') {
            let inner = self.sum();
            assert!(self.take(b')'));
            return inner;
        }
        let symbol = self.peek().unwrap();
        let from = self.at;
        if symbol.is_ascii_digit() {
            self.digits();
            let text = std::str::from_utf8(&self.text[from..self.at]).unwrap();
            return self.push(Operation::Constant(text.parse().unwrap()));
        }
        while self
            .text
            .get(self.at)
            .is_some_and(u8::is_ascii_alphanumeric)
        {
            self.at += 1;
        }
        let word = std::str::from_utf8(&self.text[from..self.at]).unwrap();
        if let Some(index) = self.names.iter().position(|name| name == word) {
            return self.push(Operation::Variable(index));
        }
        let function = match word {
            "pi" => return self.push(Operation::Constant(std::f64::consts::PI)),
            "sin" => Function::Sine,
            "cos" => Function::Cosine,
            "exp" => Function::Exponential,
            "sqrt" => Function::SquareRoot,
            "Abs" => Function::Absolute,
            _ => panic!("unknown word {word}"),
        };
        let inner = self.primary();
        self.push(Operation::Function(function, inner))
    }

    /// Digits, a point, and an exponent such as `e-6`.
    fn digits(&mut self) {
        while let Some(symbol) = self.text.get(self.at) {
            let exponent = matches!(symbol, b'e' | b'E')
                && self
                    .text
                    .get(self.at + 1)
                    .is_some_and(|next| next.is_ascii_digit() || *next == b'-');
            if exponent {
                self.at += 2;
            } else if symbol.is_ascii_digit() || *symbol == b'.' {
                self.at += 1;
            } else {
                break;
            }
        }
    }
}

#[test]
fn formulas_have_the_usual_precedence_and_exact_slopes() {
    let names: Vec<String> = ["x1", "x2"].map(String::from).to_vec();
    let mut formula = Formula::parse("-x1^2 + 2.5e-1 x2*(x1 - 3)^(-2)/4 - exp(sin(x2))", &names);
    let x = [1.5, 0.7];
    let by_hand = -2.25 + 0.25 * 0.7 / 2.25 / 4.0 - libm::exp(libm::sin(0.7));
    assert!((formula.value(&x) - by_hand).abs() < 1e-15);
    let mut gradient = [0.0; 2];
    formula.gradient(&x, &mut gradient);
    for j in 0..2 {
        let (mut up, mut down) = (x, x);
        up[j] += 1e-6;
        down[j] -= 1e-6;
        let slope = (formula.value(&up) - formula.value(&down)) / 2e-6;
        assert!((gradient[j] - slope).abs() < 1e-8);
    }
}
