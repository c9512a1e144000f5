//! Tokens to steps, by operator precedence. The only recursion in formulas is
//! here, and it counts how deep it is.

use std::ops::Range;

use super::super::tape::negate;
use super::super::{Quantity, Ratio};
use super::lexer::{Token, is_unit, tokens};
use super::{Builtin, Comparison, DEEPEST, Fold, Formula, FormulaError, LONGEST, Op, Step, Value};

const OR: u8 = 1;
const AND: u8 = 2;
const COMPARE: u8 = 3;
const ADD: u8 = 4;
const MULTIPLY: u8 = 5;
const SIGN: u8 = 6;

impl Formula {
    /// Reads a formula of at most 2000 bytes, nested at most 32 deep.
    ///
    /// # Errors
    /// When the text is no formula; the first thing wrong, with its bytes.
    pub fn parse(text: &str) -> Result<Self, FormulaError> {
        if LONGEST < text.len() {
            return Err(FormulaError::new(
                0..0,
                format!("a formula has at most {LONGEST} bytes, this one {}", text.len()),
            ));
        }
        let tokens = tokens(text)?;
        let mut parser =
            Parser { text, tokens: &tokens, next: 0, depth: 0, steps: Vec::with_capacity(8) };
        parser.expression(0)?;
        if let Some((_, at)) = parser.peek() {
            return Err(parser.stray(at));
        }
        Ok(Self { text: text.to_owned(), steps: parser.steps })
    }
}

struct Parser<'t> {
    text: &'t str,
    tokens: &'t [(Token, Range<usize>)],
    next: usize,
    depth: usize,
    steps: Vec<Step>,
}

impl<'t> Parser<'t> {
    fn peek(&self) -> Option<(&'t Token, Range<usize>)> {
        self.tokens.get(self.next).map(|(token, at)| (token, at.clone()))
    }

    fn sign(&mut self, wanted: &str) -> bool {
        let found = matches!(self.peek(), Some((Token::Sign(sign), _)) if *sign == wanted);
        self.next += usize::from(found);
        found
    }

    fn word(&mut self, wanted: &str) -> bool {
        let found = matches!(self.peek(), Some((Token::Word(word), _)) if *word == wanted);
        self.next += usize::from(found);
        found
    }

    fn here(&self) -> Range<usize> {
        self.peek().map_or(self.text.len()..self.text.len(), |(_, at)| at)
    }

    fn slice(&self, at: &Range<usize>) -> &'t str {
        self.text.get(at.clone()).unwrap_or("")
    }

    fn emit(&mut self, op: Op, at: Range<usize>) -> usize {
        self.steps.push(Step { op, at });
        self.steps.len() - 1
    }

    fn patch(&mut self, step: usize, op: Op) {
        if let Some(step) = self.steps.get_mut(step) {
            step.op = op;
        }
    }

    /// Goes one level deeper, if that is still allowed.
    fn nested(&mut self, least: u8, at: &Range<usize>) -> Result<(), FormulaError> {
        if DEEPEST <= self.depth {
            return Err(FormulaError::new(
                at.clone(),
                format!("nested more than {DEEPEST} deep; split the formula into measures"),
            ));
        }
        self.depth += 1;
        self.expression(least)?;
        self.depth -= 1;
        Ok(())
    }

    /// Reads operators that bind at least as tightly as `least`.
    fn expression(&mut self, least: u8) -> Result<(), FormulaError> {
        self.operand()?;
        let mut compared = false;
        while let Some((operator, power, at)) = self.operator() {
            if power < least {
                break;
            }
            if power == COMPARE && compared {
                return Err(FormulaError::new(
                    at,
                    "compare two at a time and join them with `and`",
                ));
            }
            compared = power == COMPARE;
            self.next += 1;
            let short = match operator {
                Op::And => Some(self.emit(Op::AndElse(0), at.clone())),
                Op::Or => Some(self.emit(Op::OrElse(0), at.clone())),
                _ => None,
            };
            self.expression(power + 1)?;
            let last = self.emit(operator, at);
            match (short, self.steps.get(last).map(|step| &step.op)) {
                (Some(step), Some(Op::And)) => self.patch(step, Op::AndElse(last + 1)),
                (Some(step), _) => self.patch(step, Op::OrElse(last + 1)),
                (None, _) => {}
            }
        }
        Ok(())
    }

    fn operator(&self) -> Option<(Op, u8, Range<usize>)> {
        let (token, at) = self.peek()?;
        let (op, power) = match token {
            Token::Word("or") => (Op::Or, OR),
            Token::Word("and") => (Op::And, AND),
            Token::Sign("<") => (Op::Compare(Comparison::Less), COMPARE),
            Token::Sign("<=") => (Op::Compare(Comparison::LessOrEqual), COMPARE),
            Token::Sign(">") => (Op::Compare(Comparison::Greater), COMPARE),
            Token::Sign(">=") => (Op::Compare(Comparison::GreaterOrEqual), COMPARE),
            Token::Sign("==") => (Op::Compare(Comparison::Equal), COMPARE),
            Token::Sign("!=") => (Op::Compare(Comparison::NotEqual), COMPARE),
            Token::Sign("+") => (Op::Add, ADD),
            Token::Sign("-") => (Op::Subtract, ADD),
            Token::Sign("*") => (Op::Multiply, MULTIPLY),
            Token::Sign("/") => (Op::Divide, MULTIPLY),
            _ => return None,
        };
        Some((op, power, at))
    }

    fn operand(&mut self) -> Result<(), FormulaError> {
        let Some((token, at)) = self.peek() else {
            return Err(FormulaError::new(
                self.here(),
                "the formula ends where a value is expected",
            ));
        };
        self.next += 1;
        match token {
            Token::Literal(quantity, _) => {
                self.emit(Op::Push(Value::Quantity(*quantity)), at);
            }
            Token::Text(text) => {
                self.emit(Op::Push(Value::Text(text.clone())), at);
            }
            Token::Word(word @ ("yes" | "no")) => {
                self.emit(Op::Push(Value::YesNo(*word == "yes")), at);
            }
            Token::Word("not") => {
                self.nested(COMPARE, &at)?;
                self.emit(Op::Not, at);
            }
            Token::Word("if") => self.choice(at)?,
            Token::Sign("-") => self.minus(at)?,
            Token::Sign("(") => {
                self.nested(0, &at)?;
                if !self.sign(")") {
                    return Err(self.unclosed(&at));
                }
            }
            Token::Name if self.sign("(") => self.call(at)?,
            Token::Name => {
                self.emit(Op::Load, at);
            }
            Token::Word(_) | Token::Sign(_) => {
                let found = self.slice(&at);
                return Err(FormulaError::new(
                    at,
                    format!("a value is expected here, not `{found}`"),
                ));
            }
        }
        Ok(())
    }

    fn minus(&mut self, at: Range<usize>) -> Result<(), FormulaError> {
        // `-40 degF` is a reading below zero, not a reading with its sign changed.
        if let Some((Token::Literal(quantity, zero), literal)) = self.peek()
            && *zero != Ratio::ZERO
        {
            self.next += 1;
            let at = at.start..literal.end;
            let below: Quantity = negate(*quantity, *zero)
                .map_err(|error| FormulaError::new(at.clone(), error.to_string()))?;
            self.emit(Op::Push(Value::Quantity(below)), at);
            return Ok(());
        }
        self.nested(SIGN, &at)?;
        self.emit(Op::Negate, at);
        Ok(())
    }

    fn choice(&mut self, at: Range<usize>) -> Result<(), FormulaError> {
        self.nested(0, &at)?;
        if !self.word("then") {
            return Err(self.lacks("`then`", "if C then A else B"));
        }
        let test = self.emit(Op::If { other: 0, end: 0 }, at.clone());
        self.nested(0, &at)?;
        if !self.word("else") {
            return Err(self.lacks("`else`", "if C then A else B"));
        }
        let jump = self.emit(Op::Jump(0), at.clone());
        self.nested(0, &at)?;
        let end = self.emit(Op::Merge, at) + 1;
        self.patch(jump, Op::Jump(end));
        self.patch(test, Op::If { other: jump + 1, end });
        Ok(())
    }

    /// A call, after its opening bracket.
    fn call(&mut self, at: Range<usize>) -> Result<(), FormulaError> {
        let name = self.slice(&at);
        if let Some(fold) = Fold::named(name) {
            return self.fold(fold, at);
        }
        let mut count = 0;
        if !self.sign(")") {
            loop {
                self.nested(0, &at)?;
                count += 1;
                if self.sign(")") {
                    break;
                }
                if !self.sign(",") {
                    return Err(self.unclosed(&at));
                }
            }
        }
        let op = match Builtin::named(name) {
            Some(builtin) => {
                takes(builtin, count).map_err(|message| FormulaError::new(at.clone(), message))?;
                Op::Builtin(builtin, count)
            }
            None => Op::Call(count),
        };
        self.emit(op, at);
        Ok(())
    }

    /// The column that picks rows, and what it has to equal.
    fn key(&mut self, fold: &Range<usize>) -> Result<Range<usize>, FormulaError> {
        let column = self.peek();
        let is = |token: &Token| matches!(token, Token::Name);
        if let Some((token, column)) = column
            && is(token)
            && self.slice(&column).contains('.')
        {
            self.next += 1;
            if self.sign("==")
                && let Some((token, name)) = self.peek()
                && is(token)
            {
                self.next += 1;
                self.emit(Op::Load, name);
                return Ok(column);
            }
        }
        let name = self.slice(fold);
        let message = format!("write `{name}(vents.area where vents.space == space.number)`");
        Err(FormulaError::new(self.here(), message))
    }

    fn fold(&mut self, fold: Fold, at: Range<usize>) -> Result<(), FormulaError> {
        let name = self.slice(&at);
        match self.peek() {
            Some((Token::Name, column)) if self.slice(&column).contains('.') => {
                self.next += 1;
                let key = if self.word("where") { Some(self.key(&at)?) } else { None };
                if !self.sign(")") {
                    return Err(self.unclosed(&at));
                }
                self.emit(Op::Fold(fold, column, key), at);
                Ok(())
            }
            _ => Err(FormulaError::new(
                self.here(),
                format!("`{name}` takes one column of a table, as in `{name}(planes.area)`"),
            )),
        }
    }

    fn unclosed(&self, open: &Range<usize>) -> FormulaError {
        match self.peek() {
            Some((Token::Sign(")"), _)) | None => FormulaError::new(
                open.clone(),
                format!("the bracket of `{}` is never closed", self.slice(open)),
            ),
            Some((_, at)) => self.stray(at),
        }
    }

    fn lacks(&self, what: &str, form: &str) -> FormulaError {
        FormulaError::new(self.here(), format!("{what} is missing here; write `{form}`"))
    }

    /// Something that cannot follow what stands before it.
    fn stray(&self, at: Range<usize>) -> FormulaError {
        let found = self.slice(&at);
        let message = match self.tokens.get(self.next).map(|(token, _)| token) {
            Some(Token::Sign(")")) => "this bracket closes nothing".to_owned(),
            Some(Token::Sign(",")) => "a comma stands only between the values of a call".to_owned(),
            Some(Token::Name) if is_unit(found) => {
                format!("the unit `{found}` must directly follow a number")
            }
            Some(Token::Literal(..)) if self.after_literal_in() => {
                "write a pitch as `4:12`; an operator is missing here".to_owned()
            }
            _ => format!("an operator such as `*` or `+` is missing before `{found}`"),
        };
        FormulaError::new(at, message)
    }

    /// Whether the text before the next token reads like the `4 in` of `4 in 12`.
    fn after_literal_in(&self) -> bool {
        let before = self.next.checked_sub(1).and_then(|i| self.tokens.get(i));
        before.is_some_and(|(_, at)| self.slice(at).ends_with("in"))
    }
}

/// How many values a builtin takes, as an error message when `count` is wrong.
fn takes(builtin: Builtin, count: usize) -> Result<(), String> {
    let name = builtin.name();
    match builtin {
        Builtin::Min | Builtin::Max if count == 0 => {
            Err(format!("`{name}` takes one value or more"))
        }
        Builtin::Min | Builtin::Max => Ok(()),
        Builtin::RoundTo | Builtin::RoundUpTo | Builtin::RoundDownTo if count != 2 => {
            Err(format!("`{name}` takes a value and a step, as in `{name}(x, 1/16 in)`"))
        }
        Builtin::RoundTo | Builtin::RoundUpTo | Builtin::RoundDownTo => Ok(()),
        _ if count != 1 => Err(format!("`{name}` takes one value")),
        _ => Ok(()),
    }
}
