//! Reads a model written as text, such as `b1*(1-exp(-b2*x))`, and evaluates it with its slopes by
//! each parameter, so that a case may bring any model of its own.

use std::iter::Peekable;
use std::str::Chars;

/// A model: an expression in x and named parameters.
#[derive(Debug, Clone)]
pub enum Expression {
    Number(f64),
    X,
    Parameter(usize),
    Sum(Box<Expression>, Box<Expression>),
    Product(Box<Expression>, Box<Expression>),
    Power(Box<Expression>, Box<Expression>),
    Call(Function, Box<Expression>),
}

#[derive(Debug, Clone, Copy)]
pub enum Function {
    Exp,
    Ln,
    Sin,
    Cos,
    Atan,
    Sqrt,
}

/// A value with its slopes.
type Sloped = (f64, Vec<f64>);

impl Expression {
    /// Reads a model; parameters are numbered in the order of `names`, or of their first use.
    pub fn read(text: &str, names: &mut Vec<String>) -> Result<Self, String> {
        let plain: String = text
            .replace("**", "^")
            .chars()
            .filter(|c| !c.is_whitespace())
            .collect();
        let mut reader = Reader {
            left: plain.chars().peekable(),
            names,
        };
        let found = reader.sum()?;
        match reader.left.next() {
            None => Ok(found),
            Some(c) => Err(format!("unexpected {c:?} in model {text:?}")),
        }
    }

    /// Value and slopes at one x.
    pub fn at(&self, parameters: &[f64], x: f64) -> Sloped {
        let count = parameters.len();
        match self {
            Self::Number(value) => (*value, vec![0.0; count]),
            Self::X => (x, vec![0.0; count]),
            Self::Parameter(index) => {
                let slope = |i| if i == *index { 1.0 } else { 0.0 };
                (
                    parameters.get(*index).copied().unwrap_or(f64::NAN),
                    (0..count).map(slope).collect(),
                )
            }
            Self::Sum(a, b) => {
                let (a, b) = (a.at(parameters, x), b.at(parameters, x));
                (a.0 + b.0, joined(&a, &b, 1.0, 1.0))
            }
            Self::Product(a, b) => {
                let (a, b) = (a.at(parameters, x), b.at(parameters, x));
                (a.0 * b.0, joined(&a, &b, b.0, a.0))
            }
            Self::Power(a, b) => {
                let (a, b) = (a.at(parameters, x), b.at(parameters, x));
                let value = a.0.powf(b.0);
                let by_exponent = if b.1.iter().all(|s| *s == 0.0) {
                    0.0
                } else {
                    value * a.0.ln()
                };
                (
                    value,
                    joined(&a, &b, b.0 * a.0.powf(b.0 - 1.0), by_exponent),
                )
            }
            Self::Call(function, inner) => {
                let (value, slopes) = inner.at(parameters, x);
                let (result, slope) = function.at(value);
                (result, slopes.iter().map(|s| s * slope).collect())
            }
        }
    }
}

fn joined(a: &Sloped, b: &Sloped, by_a: f64, by_b: f64) -> Vec<f64> {
    a.1.iter()
        .zip(&b.1)
        .map(|(x, y)| x * by_a + y * by_b)
        .collect()
}

impl Function {
    fn at(self, x: f64) -> (f64, f64) {
        match self {
            Self::Exp => (x.exp(), x.exp()),
            Self::Ln => (x.ln(), 1.0 / x),
            Self::Sin => (x.sin(), x.cos()),
            Self::Cos => (x.cos(), -x.sin()),
            Self::Atan => (x.atan(), 1.0 / (1.0 + x * x)),
            Self::Sqrt => (x.sqrt(), 0.5 / x.sqrt()),
        }
    }
}

struct Reader<'a> {
    left: Peekable<Chars<'a>>,
    names: &'a mut Vec<String>,
}

impl Reader<'_> {
    fn takes(&mut self, wanted: char) -> bool {
        self.left.next_if_eq(&wanted).is_some()
    }

    fn sum(&mut self) -> Result<Expression, String> {
        let mut found = self.product()?;
        loop {
            if self.takes('+') {
                found = Expression::Sum(Box::new(found), Box::new(self.product()?));
            } else if self.takes('-') {
                let right = negative(self.product()?);
                found = Expression::Sum(Box::new(found), Box::new(right));
            } else {
                return Ok(found);
            }
        }
    }

    fn product(&mut self) -> Result<Expression, String> {
        let mut found = self.signed()?;
        loop {
            if self.takes('*') {
                found = Expression::Product(Box::new(found), Box::new(self.signed()?));
            } else if self.takes('/') {
                let inverse =
                    Expression::Power(Box::new(self.signed()?), Box::new(Expression::Number(-1.0)));
                found = Expression::Product(Box::new(found), Box::new(inverse));
            } else {
                return Ok(found);
            }
        }
    }

    fn signed(&mut self) -> Result<Expression, String> {
        if self.takes('-') {
            return Ok(negative(self.signed()?));
        }
        let base = self.atom()?;
        if self.takes('^') {
            return Ok(Expression::Power(Box::new(base), Box::new(self.signed()?)));
        }
        Ok(base)
    }

    fn atom(&mut self) -> Result<Expression, String> {
        if self.takes('(') {
            let inner = self.sum()?;
            return if self.takes(')') {
                Ok(inner)
            } else {
                Err("a bracket is not closed".into())
            };
        }
        let first = *self.left.peek().ok_or("the model breaks off")?;
        if first.is_ascii_digit() || first == '.' {
            return self.number();
        }
        let mut name = String::new();
        while let Some(c) = self
            .left
            .next_if(|c| c.is_ascii_alphanumeric() || *c == '_')
        {
            name.push(c);
        }
        let function = match name.as_str() {
            "" => return Err(format!("unexpected {first:?}")),
            "x" => return Ok(Expression::X),
            "pi" => return Ok(Expression::Number(std::f64::consts::PI)),
            "exp" => Function::Exp,
            "log" | "ln" => Function::Ln,
            "sin" => Function::Sin,
            "cos" => Function::Cos,
            "arctan" | "atan" => Function::Atan,
            "sqrt" => Function::Sqrt,
            _ => return Ok(Expression::Parameter(self.number_of(name))),
        };
        Ok(Expression::Call(function, Box::new(self.atom()?)))
    }

    fn number_of(&mut self, name: String) -> usize {
        self.names
            .iter()
            .position(|n| *n == name)
            .unwrap_or_else(|| {
                self.names.push(name);
                self.names.len() - 1
            })
    }

    fn number(&mut self) -> Result<Expression, String> {
        let mut text = String::new();
        while let Some(&c) = self.left.peek() {
            let exponent_sign = (c == '-' || c == '+') && text.ends_with(['e', 'E']);
            if c.is_ascii_digit() || c == '.' || c == 'e' || c == 'E' || exponent_sign {
                text.push(c);
                self.left.next();
            } else {
                break;
            }
        }
        text.parse()
            .map(Expression::Number)
            .map_err(|_| format!("{text:?} is not a number"))
    }
}

fn negative(inner: Expression) -> Expression {
    Expression::Product(Box::new(Expression::Number(-1.0)), Box::new(inner))
}
