//! Where in a source the things stand that mutants change.

use std::collections::HashMap;
use std::ops::Range;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};

/// An expression with an operator.
pub struct Operation {
    pub whole: Range<usize>,
    pub operator: Range<usize>,
    /// A `let` stands in it: no other operator can stand there.
    pub has_let: bool,
}

/// An arm of a `match`.
#[derive(Clone)]
pub struct Arm {
    /// The guard, or where one would stand.
    pub guard: Range<usize>,
    pub guarded: bool,
}

/// A field of a struct with a base.
pub struct Field {
    pub whole: Range<usize>,
    pub name: String,
    /// Absent where the name stands for it.
    pub value: Option<Range<usize>>,
    pub base: Range<usize>,
    pub path: Range<usize>,
}

/// A `const fn`.
pub struct ConstFn {
    pub name: String,
    /// The word `const`.
    pub word: Range<usize>,
    pub whole: Range<usize>,
}

/// Each by the byte at which a mutant of it stands.
#[derive(Default)]
pub struct Found {
    pub operations: HashMap<usize, Operation>,
    pub arms: HashMap<usize, Arm>,
    pub fields: HashMap<usize, Field>,
    pub const_fns: Vec<ConstFn>,
}

impl Found {
    pub fn new(source: &str) -> syn::Result<Self> {
        let mut found = Self::default();
        found.visit_file(&syn::parse_file(source)?);
        Ok(found)
    }

    fn function(&mut self, signature: &syn::Signature, whole: Range<usize>) {
        if let Some(word) = signature.constness {
            let name = signature.ident.to_string();
            self.const_fns.push(ConstFn { name, word: word.span.byte_range(), whole });
        }
    }
}

fn has_let(expr: &syn::Expr) -> bool {
    match expr {
        syn::Expr::Let(_) => true,
        syn::Expr::Binary(binary) => has_let(&binary.left) || has_let(&binary.right),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Found {
    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        self.function(&item.sig, item.span().byte_range());
        visit::visit_item_fn(self, item);
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        self.function(&item.sig, item.span().byte_range());
        visit::visit_impl_item_fn(self, item);
    }

    fn visit_expr_binary(&mut self, binary: &'ast syn::ExprBinary) {
        let operator = binary.op.span().byte_range();
        let has_let = has_let(&binary.left) || has_let(&binary.right);
        let operation = Operation { whole: binary.span().byte_range(), operator: operator.clone(), has_let };
        self.operations.insert(operator.start, operation);
        visit::visit_expr_binary(self, binary);
    }

    fn visit_expr_unary(&mut self, unary: &'ast syn::ExprUnary) {
        let operator = unary.op.span().byte_range();
        let operation = Operation { whole: unary.span().byte_range(), operator: operator.clone(), has_let: false };
        self.operations.insert(operator.start, operation);
        visit::visit_expr_unary(self, unary);
    }

    fn visit_arm(&mut self, arm: &'ast syn::Arm) {
        let pattern = arm.pat.span().byte_range();
        let found = match &arm.guard {
            Some((_, guard)) => Arm { guard: guard.span().byte_range(), guarded: true },
            None => Arm { guard: pattern.end..pattern.end, guarded: false },
        };
        // An arm stands at its attributes or at its pattern, its guard at itself.
        self.arms.insert(arm.span().byte_range().start, found.clone());
        self.arms.insert(pattern.start, found.clone());
        if found.guarded {
            self.arms.insert(found.guard.start, found);
        }
        visit::visit_arm(self, arm);
    }

    fn visit_expr_struct(&mut self, expr: &'ast syn::ExprStruct) {
        if let Some(base) = &expr.rest {
            for field in &expr.fields {
                let whole = field.span().byte_range();
                let name = match &field.member {
                    syn::Member::Named(name) => name.to_string(),
                    syn::Member::Unnamed(index) => index.index.to_string(),
                };
                let value = field.colon_token.map(|_| field.expr.span().byte_range());
                let (base, path) = (base.span().byte_range(), expr.path.span().byte_range());
                self.fields.insert(whole.start, Field { whole, name, value, base, path });
            }
        }
        visit::visit_expr_struct(self, expr);
    }
}
