"""What people write on cans, boards and recipes, and which cautions it must call for (common practice, no source)."""

from __future__ import annotations

from typing import Final

LETTERS: Final = {
    "r": "oily-rags",
    "v": "vapour",
    "h": "hardener",
    "x": "stripper",
    "b": "bleach",
    "s": "slip",
}

PHRASES: Final[tuple[tuple[str, str], ...]] = (
    # Kinds by their trade names.
    ("oil stain", "rv"), ("water stain", ""), ("gel stain", "rv"), ("dye", ""), ("sealer", ""),
    ("oil polyurethane", "rv"), ("water polyurethane", ""), ("water polyurethane 1-part", ""),
    ("water polyurethane 2-part", "vh"), ("hardwax oil", "rv"), ("penetrating oil", "rv"), ("wax", "s"),
    ("riser paint", ""), ("thinner", "v"), ("hardener", "vh"), ("conditioner", ""),
    # Everyday words: what is not said to be water counts as oil.
    ("walnut stain", "rv"), ("dark walnut wood stain", "rv"), ("satin polyurethane", "rv"), ("poly, satin", "rv"),
    ("clear urethane", "rv"), ("PU matte", "rv"), ("floor varnish", "rv"), ("spar varnish", "rv"),
    ("marine varnish", "rv"), ("enamel", "rv"), ("alkyd paint", "rv"), ("oil-based paint", "rv"),
    ("oil based stain honey", "rv"), ("stain, colour honey", "rv"), ("Stain No. 5", "rv"), ("wiping stain", "rv"),
    ("interior stain", "rv"), ("fast-dry polyurethane", "rv"), ("semi-gloss polyurethane", "rvs"),
    ("high gloss poly", "rvs"), ("Danish oil", "rv"), ("danish, natural", "rv"), ("boiled linseed oil", "rv"),
    ("raw linseed", "rv"), ("tung oil", "rv"), ("pure tung", "rv"), ("teak oil", "rv"), ("walnut oil", "rv"),
    ("hardwaxoil", "rv"), ("hard wax oil", "rv"), ("floor oil white", "rv"), ("wood oil", "rv"), ("worktop oil", "rv"),
    ("oil", "rv"), ("oil/varnish blend", "rv"), ("oil-modified urethane, waterborne", "rv"), ("gel, mahogany", "rv"),
    ("OIL STAIN", "rv"),
    # Water.
    ("water-based polyurethane", ""), ("waterborne urethane satin", ""), ("water based stain walnut", ""),
    ("acrylic varnish", ""), ("acrylic urethane matte", ""), ("latex paint", ""), ("water-based gel stain", ""),
    ("water-based enamel", ""), ("water-based lacquer", ""), ("water-based gloss varnish", "s"), ("Aqua varnish", ""),
    # Water in another sense.
    ("waterproof polyurethane", "rv"), ("water-resistant varnish", "rv"), ("water-white lacquer", "v"),
    ("water-repellent stain", "rv"),
    # Solvents, spirits, alcohol.
    ("mineral spirits", "v"), ("white spirit", "v"), ("turpentine", "v"), ("turps", "v"), ("naphtha", "v"),
    ("acetone", "v"), ("lacquer", "v"), ("sanding lacquer", "v"), ("shellac", "v"), ("dewaxed shellac", "v"),
    ("spirit varnish", "v"), ("spirit stain", "v"), ("denatured alcohol", "v"), ("isopropyl alcohol", "v"),
    ("methylated spirits", "v"), ("alcohol dye", "v"), ("ethanol", "v"), ("xylene", "v"), ("paste wax", "vs"),
    ("beeswax polish", "s"),
    # Two parts.
    ("two-part water polyurethane", "vh"), ("2-part floor finish", "vh"), ("2K urethane", "rvh"), ("2-K lacquer", "vh"),
    ("two component varnish", "rvh"), ("moisture-cured urethane", "vh"), ("moisture cured polyurethane satin", "vh"),
    ("conversion varnish", "rvh"), ("pre-catalysed lacquer", "vh"), ("epoxy filler", "vh"), ("crosslinker", "vh"),
    ("isocyanate hardener", "vh"), ("hardwax oil 2-component", "rvh"),
    # No hardener, no oil, no gloss.
    ("two parts walnut to one part honey", ""), ("2 parts honey + 1 part walnut", ""),
    ("one part thinner to two parts stain", "rv"), ("1-part water polyurethane", ""), ("one-part urethane", "rv"),
    ("water polyurethane without hardener", ""), ("isocyanate-free water finish", ""), ("oil-free water varnish", ""),
    ("solvent-free hardwax oil", "r"), ("alcohol-free cleaner", ""), ("low-gloss water poly", ""),
    ("no gloss, acrylic", ""), ("non-yellowing water varnish", ""), ("wax-free shellac", "v"),
    ("hard wax oil, gloss", "rvs"),
    # Words that hold other words.
    ("walnut", ""), ("honey", ""), ("golden oak", ""), ("foil", ""), ("topsoil brown", ""), ("coil", ""),
    ("stainless steel", ""), ("stained glass", ""), ("stain remover", ""), ("stain-resistant water poly", ""),
    ("oil-rubbed bronze screws", ""), ("boiler room", ""), ("bleached oak", ""), ("glossary", ""),
    ("polyurethane adhesive", ""), ("candle", ""), ("toilet", ""), ("danish soap", ""), ("wood filler", ""),
    ("milk paint", ""), ("chalk paint", ""), ("gelatine", ""), ("polyester brush", ""),
    # Strippers and bleach.
    ("paint stripper", "vx"), ("varnish remover", "vx"), ("citrus stripper", "vx"), ("methylene chloride", "vx"),
    ("wood bleach", "b"), ("two-part wood bleach", "vhb"), ("oxalic acid", "b"), ("hydrogen peroxide", "b"),
    ("lye", "b"), ("chlorine bleach", "b"), ("ammonia", "b"),
    # Other languages.
    ("Leinöl", "rv"), ("Leinoel", "rv"), ("Leinölfirnis", "rv"), ("Hartwachsöl", "rv"), ("Hartöl", "rv"),
    ("Hartwachsoel", "rv"), ("Öl, natur", "rv"), ("Parkettlack", "rv"), ("Wasserlack seidenmatt", ""),
    ("Acryllack", ""), ("Holzlasur Nussbaum", "rv"), ("Beize Nussbaum", "rv"), ("Wasserbeize", ""),
    ("Spiritusbeize", "v"), ("Nitrolack", "v"), ("Schellack", "v"), ("Verdünnung", "v"),
    ("2K-Parkettlack mit Härter", "rvh"), ("Abbeizer", "vx"), ("Glanzlack", "rvs"), ("huile de lin", "rv"),
    ("huile-cire dure", "rv"), ("vernis polyuréthane", "rv"), ("vernis à l'eau", ""), ("vitrificateur aqua", ""),
    ("lasure chêne", "rv"), ("décapant", "vx"), ("eau de javel", "b"), ("aceite de linaza", "rv"),
    ("barniz poliuretano", "rv"), ("barniz al agua", ""), ("aguarrás", "v"), ("olio di lino", "rv"),
    ("vernice all'acqua", ""), ("lijnolie", "rv"), ("hardwaxolie", "rv"), ("beits eiken", "rv"), ("linolja", "rv"),
    ("hårdvaxolja", "rv"), ("olej lniany", "rv"), ("óleo de linhaça", "rv"), ("alcohol de quemar", "v"),
    # Written down without a look at the words; then the words were mended by them.
    ("mahogany gel stain", "rv"), ("cherry wood dye stain", ""), ("solvent based dye", "v"),
    ("pre-stain conditioner", "rv"), ("oil-based pre-stain conditioner", "rv"), ("high build polyurethane", "rv"),
    ("water clear acrylic", ""), ("floor lacquer satin", "v"), ("catalyzed varnish", "rvh"),
    ("catalysed water finish", "vh"), ("danish oil walnut", "rv"), ("half oil half turpentine", "rv"),
    ("home-made linseed oil and beeswax", "rvs"), ("mineral oil", "rv"), ("olive oil soap", ""), ("soap finish", ""),
    ("lye and soap", "b"), ("white pigmented oil", "rv"), ("oil primer", "rv"), ("stain-blocking primer", ""),
    ("shellac-based primer", "v"), ("water-borne alkyd", "rv"), ("hybrid alkyd enamel water clean-up", "rv"),
    ("parquet oil", "rv"), ("Parkettöl", "rv"), ("Treppenlack", "rv"), ("Klarlack wasserbasiert", ""),
    ("Nussbaumbeize auf Wasserbasis", ""), ("Terpentinersatz", "v"), ("Waschbenzin", "v"), ("Pinselreiniger", "v"),
    ("huile de tung", "rv"), ("vernis parquet bi-composant", "rvh"), ("vernis marin", "rv"), ("alcool à brûler", "v"),
    ("white-spirit", "v"), ("aceite danés", "rv"), ("laca nitro", "v"), ("barniz al aceite", "rv"),
    ("olio duro cerato", "rv"), ("tinta all'acqua noce", ""), ("lak op waterbasis", ""), ("parketlak", "rv"),
    ("trälack", "rv"), ("vattenlack", ""), ("linolie", "rv"), ("hårdvoksolie", "rv"), ("two coats of water poly", ""),
    ("2 coats poly", "rv"), ("part 2 of the stain set", "rv"), ("three parts golden oak, one part early", ""),
    ("1:1 walnut and oak stain", "rv"), ("A+B floor finish", "vh"), ("finish with activator", "vh"),
    ("polyaspartic", "vh"), ("UV-cured oil", "rv"), ("hard wax", "s"), ("furniture polish", "s"),
    ("anti-slip additive", ""), ("glossy white paint", "s"), ("eggshell paint", ""), ("rust remover", ""),
    ("wallpaper stripper", "vx"), ("heat gun", ""), ("oxalic wood brightener", "b"), ("hypochlorite", "b"),
    ("vinegar and steel wool stain", ""), ("tea stain", ""), ("coffee stain", ""), ("foam brush", ""), ("oilcloth", ""),
    ("spoiled", ""), ("boil", ""), ("clear satin varnish", "rv"), ("ebony stain", "rv"), ("pickling stain white", "rv"),
    ("wipe-on poly", "rv"), ("rub-on oil finish", "rv"), ("gunstock oil", "rv"), ("cedar oil", "rv"),
    ("stair tread finish, water", ""), ("2 component water lacquer", "vh"), ("bi-component PU water", "vh"),
    ("solvent-borne polyurethane", "rv"), ("solvent polyurethane", "rv"), ("VOC-free acrylic", ""),
    ("oil-free stain, water", ""), ("dry erase marker", ""), ("nitrocellulose", "v"), ("methyl ethyl ketone", "v"),
    ("MEK", "v"), ("lighter fluid", "v"), ("rubbing alcohol", "v"), ("vodka", ""), ("shoe polish", "s"),
    ("silicone spray", ""), ("sodium hydroxide", "b"), ("peroxide A/B bleach", "vhb"), ("drain cleaner", ""),
    ("Holzöl", "rv"), ("Möbelwachs", "s"), ("Bootslack", "rv"), ("Alkydharzlack", "rv"), ("Kunstharzlack", "rv"),
    ("Hartwachs-Öl", "rv"), ("Bienenwachs", "s"), ("huile dure", "rv"), ("vernis acrylique", ""),
    ("bois teinté noyer", ""), ("peinture à l'huile", "rv"), ("essence de térébenthine", "v"), ("cera de abejas", "s"),
    ("esmalte sintético", "rv"), ("aceite de teca", "rv"), ("vernice poliuretanica", "rv"), ("acquaragia", "v"),
    ("lakier poliuretanowy", "rv"), ("olej twardy", "rv"), ("bejca do drewna", "rv"), ("verniz aquoso", ""),
    ("óleo de teca", "rv"), ("træolie", "rv"), ("oljebeis", "rv"), ("vannbasert lakk", ""), ("puulakka", "rv"),
)  # fmt: skip
"""Phrase -> letters of the cautions it must call for; of those in `LETTERS` it must call for no other."""
