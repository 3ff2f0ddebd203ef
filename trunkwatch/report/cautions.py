"""The sentences that stand in every report, each once, with where it comes from."""

__all__ = ["CANNOT_SAY", "CAUTIONS", "MEANINGS", "MEANINGS_DECIDE"]

#: What a map of symptoms cannot say; the page picks those that apply.
CANNOT_SAY = {
    "diagnosis": "Symptoms are not a diagnosis: trunk diseases, cold and other injuries look alike. Cut wood sent to a laboratory can tell more.",
    "hidden": "A vine that shows nothing this year may be infected: symptoms come and go.",
    "stock": "We cannot tell spread from old planting stock: foci that came with the vines look the same as spread.",
    "stock_for": "The map alone does not tell spread from infected nursery stock. The dates point to spread; they do not tell how it travels, nor who infected whom.",
    "stock_either": "The map alone does not tell spread from infected nursery stock. The dates point to spread, or to short stretches of row that got sick one after another: a map of planting stock, replants and pruning would tell.",
    "stock_against": "The map alone does not tell spread from old planting stock. Nothing in the years speaks for spread inside the block; slow spread can look the same, and that new cases dry up is no promise for the years to come.",
    "chance": "A scattered map does not prove that nothing spreads: disease that comes on the wind looks scattered too.",
    "few": "There are too few cases to say anything about their pattern.",
    "trend": "We cannot tell a showy year from an increase with so few counted seasons.",
    "unseen": "Vines that were not scouted are not counted as healthy.",
}

#: Cautions (common practice, no source, unless the sentence itself defers to law or label).
CAUTIONS = (
    ("Not a diagnosis.", "Symptoms overlap and mixed infections are usual. Send cut wood to a diagnostic laboratory before a costly decision. If you suspect a disease that must be reported, tell the authority."),
    ("Saws, wires, cold.", "Trunk work needs training, protective gear for eyes, hands and legs, and two people. Trellis wires are under tension and hide in old wood with staples. Very cold wood is brittle; ice and frostbite are dangers of their own."),
    ("Burning.", "Removing dead wood from the vineyard is good practice; whether it may be burned is decided by local law. Ask for the permit and the burn day first. Treated posts and plastic are never burned."),
    ("Sprays and paints.", "Whether a wound protectant may be used, and how, is decided by its label and local law. This report names none."),
    ("Suckers of grafted vines.", "A shoot from below the graft union is rootstock and no renewal of the cultivar."),
    ("Who infected whom.", "Clustering is no proof of spread, and no proof of who infected whom. It must not be used to blame a neighbor, a crew or a nursery."),
    ("Privacy.", "Where a block lies and how sick it is can affect its sale, price and insurance. Share this page only with the owner's consent."),
    ("Money.", "Retraining and replanting are investments. Ask a farm-business adviser before a large one."),
)  # fmt: skip

#: What each number means, for growers.
MEANINGS = (
    ("Showing (annual)", "Vines with symptoms this season, of the mature living vines that were scouted. It goes up and down with the weather of the year."),
    ("Standing", "Showing this season, or shown in an earlier one and not cut out since. Closer to the number of sick vines than the annual figure."),
    ("Ever", "Of the vines of the first counted season, those that have been a case by now; the dead, removed and retrained stay in. It cannot fall."),
    ("New", "Vines that became a case for the first time, of those that were scouted now and before and never were a case. The best figure for 'is it going on?'."),
    ("Relapse", "Retrained vines that showed again, of those whose case had been cut out."),
    ("Deaths", "Vines found dead, of those seen alive in the last counted season and scouted now."),
    ("Limits", "The range in brackets: for part of a block, what the whole could be; for a block scouted whole, what a block like this could show in seasons like these."),
    ("Expected by chance", "What the count would be on average if the same number of cases fell on the same vines at random. Neighbors occur by chance too."),
    ("p", "How often chance alone would give a count as extreme as the one seen. Small means: chance is a poor explanation. It does not say what the explanation is."),
    ("Focus", "Cases that touch, also at a corner. An empty place does not bridge."),
    ("Not counted", "A season in which the inspections that the case definition needs did not take place. It is drawn hollow; nothing is made up for it."),
    ("Casual", "A finding that no survey covers. It stands in the vine's history and on the work list, and in no rate and no test."),
)  # fmt: skip

#: What each number of the page "Decide" means.
MEANINGS_DECIDE = (
    ("Future", "One way the years ahead may go, drawn from what the record says of new symptoms, relapse, damage and death. All strategies run through the same futures, so they differ by what is done and not by luck."),
    ("The dead part only", "An arm, or one trunk of several, where about half of the vine is dead; all above the ground where more is. The rest of the vine bears on while the new part grows; chances of relapse and of failing are taken to be those of a retrained trunk."),
    ("Gain a hectare or an acre", "Present value of grapes less work and plants over the years ahead, beside doing nothing. Present value: money of later years counts less, by the discount rate."),
    ("90% range", "Of the futures drawn, one in twenty lies below the range and one in twenty above it. It holds what the record leaves open, not errors of the prices."),
    ("Crew-days", "Days of one worker, at the hours written, by area, in the first winter with work; training in the two years after is in them."),
    ("Breaks even at", "The price of the grapes at which the strategy would be worth as much as doing nothing, all else the same."),
    ("Best in", "The share of the futures in which the strategy comes out first."),
    ("Mean regret", "What the strategy loses on average against the one that would have been best in each future."),
    ("Error of the comparison", "How far two strategies could lie apart by the draw of the futures alone; more futures make it smaller."),
    ("Worth about", "For one vine: what the work brings beside never touching it, middle figure only."),
)  # fmt: skip
