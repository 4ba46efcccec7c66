//! The attribute [`record`]: a struct of the core becomes a record in Kotlin, Swift and Python, in which every optional field may be left out.
//! The rule stands here once; the structs keep one line each.

use proc_macro::TokenStream;
use quote::quote;
use syn::{Fields, ItemStruct, Type, parse_macro_input, parse_quote};

/// Derives `uniffi::Record`; each field that is an `Option` gets `None` as its default. `record(flags)` gives each `bool` the default `false`
/// as well: for what an app asks, not for what a team writes down.
#[proc_macro_attribute]
pub fn record(how: TokenStream, item: TokenStream) -> TokenStream {
    let flags = how.to_string() == "flags";
    let mut item = parse_macro_input!(item as ItemStruct);
    if let Fields::Named(fields) = &mut item.fields {
        for field in &mut fields.named {
            match last_name(&field.ty).as_deref() {
                Some("Option") => field.attrs.push(parse_quote!(#[uniffi(default = None)])),
                Some("bool") if flags => field.attrs.push(parse_quote!(#[uniffi(default = false)])),
                _ => {}
            }
        }
    }
    quote!(#[derive(::uniffi::Record)] #item).into()
}

fn last_name(ty: &Type) -> Option<String> {
    let Type::Path(path) = ty else { return None };
    path.path.segments.last().map(|s| s.ident.to_string())
}
