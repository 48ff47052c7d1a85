//! The licence under which a steward gives a study's data away.

use super::choice::choice;

choice! {
    /// Open data licences by their identifiers of the SPDX licence list (names and addresses from memory
    /// of the licences' own pages).
    pub enum Licence {
        /// Everything given up.
        Cc0 = "CC0-1.0", "CC0 1.0: anybody may do anything with it";
        /// Name the source.
        CcBy = "CC-BY-4.0", "CC BY 4.0: anybody may use it who names the source";
        /// Name the source, pass it on alike.
        CcBySa = "CC-BY-SA-4.0", "CC BY-SA 4.0: the same, and what is made of it must stay as free";
        /// Everything given up, for databases.
        Pddl = "PDDL-1.0", "PDDL 1.0: as CC0, written for databases";
        /// Name the source, for databases.
        OdcBy = "ODC-By-1.0", "ODC-By 1.0: as CC BY, written for databases";
        /// Name the source, pass databases on alike.
        Odbl = "ODbL-1.0", "ODbL 1.0: as CC BY-SA, written for databases";
        /// Permissive, short.
        CdlaPermissive = "CDLA-Permissive-2.0", "CDLA Permissive 2.0: anybody may use it who keeps this licence beside it";
    }
}

impl Licence {
    /// Where its text stands.
    #[must_use]
    pub fn address(self) -> &'static str {
        match self {
            Self::Cc0 => "https://creativecommons.org/publicdomain/zero/1.0/",
            Self::CcBy => "https://creativecommons.org/licenses/by/4.0/",
            Self::CcBySa => "https://creativecommons.org/licenses/by-sa/4.0/",
            Self::Pddl => "https://opendatacommons.org/licenses/pddl/1-0/",
            Self::OdcBy => "https://opendatacommons.org/licenses/by/1-0/",
            Self::Odbl => "https://opendatacommons.org/licenses/odbl/1-0/",
            Self::CdlaPermissive => "https://cdla.dev/permissive-2-0/",
        }
    }

    /// Its name without what it means.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.label().split(':').next().unwrap_or_default()
    }
}
