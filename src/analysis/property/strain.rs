//! Strains, and what extensions are uncertain by: of an extensometer or a deflection by its class, of the travel
//! of the grips by an assumption, each at the length in question.

use super::{Work, Worked, with_length, worked};
use crate::mechanics::uncertainty::{Budget, Extension};
use crate::study::plan::TestKind;
use crate::study::property::Property;

const NOMINAL: &str = "nominal, from the travel of the grips";

impl Work<'_> {
    /// What measures the travel: the grips, or what reads the deflection of a bar.
    fn travel(&self) -> (&'static str, Extension) {
        let machine = self.basis.machine;
        match self.kind() {
            Some(TestKind::Bending) => ("deflection", machine.extension),
            _ => ("travel", machine.travel),
        }
    }

    /// With a travel of so many mm.
    pub(super) fn with_travel(&self, budget: Budget, mm: Option<f64>) -> Budget {
        let (name, limit) = self.travel();
        budget.with(name, 1.0, limit.standard_percent(mm))
    }

    pub(super) fn strains(&self) -> Vec<Worked> {
        let remark = if self.read.is_strain_nominal {
            NOMINAL
        } else {
            ""
        };
        let at_end = self.read.strain_at_end.filter(|_| self.read.is_ended);
        [
            (Property::YieldStrain, self.read.strain_at_yield),
            (Property::StrainAtMax, self.read.strain_at_max),
            (Property::StrainAtBreak, at_end),
        ]
        .into_iter()
        .filter_map(|(property, strain)| {
            let strain = strain?;
            Some(worked(
                property,
                100.0 * strain,
                self.strain(strain),
                remark,
            ))
        })
        .collect()
    }

    /// What a strain is uncertain by.
    fn strain(&self, strain: f64) -> Budget {
        let (method, thickness) = (self.basis.method, self.basis.sizes.thickness);
        let (Some(TestKind::Bending), Some(thickness)) = (self.kind(), thickness) else {
            let is_nominal = self.read.is_strain_nominal;
            let budget = self.with_extension(Budget::default(), is_nominal, strain, 1.0);
            return self.over_length(budget, is_nominal, -1.0);
        };
        let bar = method.and_then(|method| self.basis.sizes.bar(method));
        let budget = self
            .with_travel(Budget::default(), bar.map(|bar| bar.deflection_mm(strain)))
            .with("thickness", 1.0, thickness.percent());
        let span = method.and_then(|method| method.span_mm);
        with_length(budget, ("span", -2.0), method, span)
    }

    /// With the extension that a strain is made of, by the extensometer or by the grips.
    pub(super) fn with_extension(
        &self,
        budget: Budget,
        is_nominal: bool,
        strain: f64,
        power: f64,
    ) -> Budget {
        let length = self.length(is_nominal).1;
        let mm = length.map(|length| strain * length);
        let machine = self.basis.machine;
        let (name, limit) = match is_nominal {
            true => ("travel", machine.travel),
            false => ("extension", machine.extension),
        };
        budget.with(name, power, limit.standard_percent(mm))
    }

    /// The length that a strain is made over: the gauge length, or the distance of the grips.
    fn length(&self, is_nominal: bool) -> (&'static str, Option<f64>) {
        let method = self.basis.method;
        match is_nominal {
            true => ("grips", method.and_then(|m| m.grips_mm)),
            false => ("gauge length", method.and_then(|m| m.gauge_mm)),
        }
    }

    /// With the uncertainty of that length.
    pub(super) fn over_length(&self, budget: Budget, is_nominal: bool, power: f64) -> Budget {
        let (name, length) = self.length(is_nominal);
        with_length(budget, (name, power), self.basis.method, length)
    }
}
