//! The report as PDF: tagged, with embedded fonts, made to PDF/A-2a and PDF/UA-1.
//!
//! The same facts give the same bytes: the document's date is the end of what is reported.

use typst::foundations::Smart;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards};

use crate::typeset::{self, Made, Template, Unset};
use crate::view::View;

/// The bytes of the PDF.
pub fn pdf(view: &View) -> Result<Made<Vec<u8>>, Unset> {
    typeset::made(view, written)
}

fn written(view: &View) -> Result<Vec<u8>, Unset> {
    let document = typeset::set(Template::Week, view)?;
    let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
        .map_err(|refusal| Unset::Refused(refusal.message().to_string()))?;
    let options =
        PdfOptions { creator: Smart::Custom(Some(CREATOR.to_owned())), standards, ..PdfOptions::default() };
    typst_pdf::pdf(&document, &options).map_err(|refusals| {
        let all: Vec<String> = refusals.iter().map(|refusal| refusal.message.to_string()).collect();
        Unset::Refused(all.join("; "))
    })
}

const CREATOR: &str = concat!("Claymark ", env!("CARGO_PKG_VERSION"));
