"""The words of vineyards in English, Spanish, French, Italian, German and Portuguese, and what each says.

Written without accents and capitals, as `guess.plain` leaves them. A word in `CERTAIN` says what it
says; one in `PROPOSED` may well mean something else, and is put before the grower.
"""

from collections.abc import Mapping

__all__ = ["CERTAIN", "FILLERS", "MARKS", "NEGATIONS", "NO_MARKS", "PROPOSED", "SIDES", "TOTALS", "words_in"]


def words_in(text: str) -> frozenset[str]:
    """Return the words of a text."""
    return frozenset(text.split())


def _each(meaning: str, text: str) -> dict[str, str]:
    return {word.strip(): meaning for word in text.replace("\n", " ").split(",") if word.strip()}


CERTAIN: Mapping[str, str] = {
    **_each("dead_arm", """dead arm, arm dead, dead cordon, cordon dead, dead arms, brazo muerto, brazos muertos, brazo seco,
        cordon muerto, bras mort, bras morts, cordon mort, braccio morto, cordone morto, braccio secco, arm tot, toter arm, arm abgestorben,
        kordon tot, toter kordon, schenkel tot, toter schenkel, braco morto, braco seco, cordao morto"""),
    **_each("dead_trunk", """dead trunk, trunk dead, tronco muerto, tronco seco, tronc mort, tronco morto, toter stamm, stamm tot,
        stamm abgestorben"""),
    **_each("dead_spurs", """dead spur, dead spurs, spurs dead, spur dead, pulgar muerto, pulgares muertos, courson mort, coursons morts,
        sperone morto, speroni morti, zapfen tot, tote zapfen, toter zapfen, talao morto, taloes mortos"""),
    **_each("canker", "canker, cankers, cancro, cancros, cancri, chancre, chancres"),
    **_each("leaf_stripe", """leaf stripe, leaf stripes, striped leaves, leaf striping, tiger stripe, tiger stripes, tiger striped leaves,
        tiger stripe leaves, hojas atigradas, hoja atigrada, atigrado, atigrada, hojas tigradas, feuilles tigrees, feuille tigree, tigrure,
        tigrures, foglie tigrate, foglia tigrata, tigratura, tigrature, tigerstreifen, blatter getigert, getigerte blatter,
        tigerstreifen blatter, folhas tigradas, folha tigrada, leaf_stripe"""),
    **_each("berry_spots", """berry spots, spotted berries, bayas manchadas, manchas en bayas, baies tachees, acini macchiati, gefleckte beeren,
        beeren gefleckt, bagos manchados"""),
    **_each("stunted_shoots", """stunted shoots, stunted shoot, shoots stunted, cupped leaves, small cupped leaves, brotes raquiticos, brotes atrofiados,
        rameaux rabougris, pousses rabougries, germogli stentati, germogli rachitici, kummertriebe, gestauchte triebe, verkummerte triebe,
        rebentos raquiticos, rebentos atrofiados"""),
    **_each("collapse", """collapse, collapsed, apoplexy, apoplejia, colapso, colapsada, apoplexie, folletage, apoplessia, colpo apoplettico,
        collasso, zusammenbruch, zusammengebrochen, apoplexia"""),
    **_each("dead", """dead, dead vine, vine dead, dead plant, muerta, muerto, cepa muerta, planta muerta, vid muerta, mort, morte, pied mort, cep mort,
        souche morte, plant mort, morta, morto, vite morta, pianta morta, ceppo morto, tot, abgestorben, tote rebe, rebe tot, stock tot, toter stock,
        rebstock tot, toter rebstock, videira morta, cepa morta, planta morta"""),
    **_each("crown_gall", "crown gall, agalla de corona, galle du collet, broussin, galla del colletto, mauke, galha da coroa"),
    **_each("trunk_split", "split trunk, trunk split, tronco partido, tronco rajado, tronc fendu, tronco spaccato, stamm gerissen, tronco rachado"),
    **_each("mechanical_injury", """tractor damage, mechanical injury, mechanical damage, machine damage, dano mecanico, golpe de tractor,
        blessure mecanique, degat mecanique, danno meccanico, danni meccanici, mechanischer schaden, maschinenschaden, traktorschaden"""),
    **_each("sound", """ok, okay, o.k., o.k, ok., healthy, healthy vine, sound, no symptom, no symptoms, without symptoms, no sign, no signs, nothing seen, nothing found,
        symptomless, asymptomatic, sana, sano, planta sana, cepa sana, sin sintoma, sin sintomas, saludable, asintomatica, sain, saine,
        pied sain, sans symptome, sans symptomes, asymptomatique, vite sana, pianta sana, senza sintomi, nessun sintomo,
        asintomatico, gesund, ohne befund, keine symptome, kein symptom, ohne symptome, symptomlos, in ordnung, saudavel, sem sintoma,
        sem sintomas, assintomatica"""),
    **_each("no vine", """missing, missing vine, vine missing, missing plant, no vine, no plant, vine gone, falta, faltante, planta faltante, falla, fallo, marra,
        sin planta, sin cepa, sin vid, arrancada, manquant, manquante, pied manquant, pieds manquants, manque, pas de pied, sans pied, arrache, arrachee, mancante,
        vite mancante, pianta mancante, manca, fallanza, estirpata, espiantata, senza vite, fehlt, fehlend, fehlstelle, fehlstock, rebe fehlt,
        stock fehlt, keine rebe, kein stock, gerodet, falha, em falta, sem planta, sem videira, faltosa"""),
    **_each("replanted", """replanted, replant, replanted vine, re planted, new vine planted, replantada, replantado, repuesta, repuesto, reposicion, replante, replantee,
        complante, complantee, complantation, reimpiantata, reimpiantato, reimpianto, rimpiazzata, rimpiazzo, nachgepflanzt, neu gepflanzt, neupflanzung,
        nachpflanzung, replantacao, retancha, retanchada, retanchado"""),
    **_each("not scouted", """not scouted, not seen, not looked at, not looked, not walked, not checked, not surveyed, not inspected, unseen, skipped, not visited, no vista, no visto,
        no revisada, no revisado, sin revisar, no inspeccionada, no observada, no observado, non vu, non vue, pas vu, pas vue, non observe, non observee, non controle, non controlee,
        non note, non notee, non vista, non visto, non controllata, non controllato, non osservata, non osservato, non rilevato, non rilevata, nicht gesehen, nicht kontrolliert,
        nicht angeschaut, nicht bonitiert, nicht begangen, nicht gepruft, nao vista, nao visto, nao observada, nao observado, nao vistoriada, nao verificada"""),
}  # fmt: skip
PROPOSED: Mapping[str, str] = {
    **_each("leaf_stripe", """esca, yesca, esca symptoms, foliar symptoms, foliar esca, stripe, stripes, striped, tiger, measles, black measles, sintomas de yesca,
        sintomas foliares, symptomes foliaires, symptomes esca, sintomi fogliari, blattsymptome, esca symptome, tigre, tigree, tigrado, tigrata, tigrato"""),
    **_each("stunted_shoots", "eutypa, eutypiose, eutipa, eutipiosis, eutipiosi, eutipiose, stunted, stunting, rabougri, raquitica, stentata, kummerwuchs"),
    **_each("dead", "seca, seco, secca, secco, sec, seche, durr, vertrocknet, dead head, dying, died"),
    **_each("collapse", "wilted, wilting, wilt, flétri, fletri, marchita, appassita, welk, murcha"),
    **_each("crown_gall", "gall, galls, agalla, agallas, galle, galles, galla, tumore, tumori, galha, galhas"),
    **_each("frost_shoots", "frost, frost damage, frosted, helada, heladas, gel, gelee, gelo, gelata, frostschaden, erfroren, geada"),
    **_each("mechanical_injury", "tractor, broken, hit, rota, roto, golpeada, casse, cassee, rotta, rotto, gebrochen, beschadigt, partida, quebrada"),
    **_each("virus_suspected", "virus, leafroll, virosis, virose, virosi, enrollado, enroulement, accartocciamento, blattrollkrankheit"),
    **_each("water_stress", "drought, dry, sequia, secheresse, siccita, trockenheit, trockenstress, seca de agua, stress hydrique"),
    **_each("herbicide_injury", "herbicide, herbicida, herbizid, diserbante, erbicida"),
    **_each("mummies", "mummies, mummy, momias, momies, mummie, mumien, mumias"),
    **_each("dead_arm", "dead cane, dead canes, vara muerta, dieback, deperissement, deperimento, absterben, muerte regresiva"),
    **_each("other", "weak, weak vine, low vigor, low vigour, debil, faible, debole, schwach, schwachwuchs, fraca, fraco, sick, diseased, enferma, enfermo, malade, malata, malato, krank, doente, yellow, chlorosis"),
    **_each("sound", "good, fine, clean, normal, alive, nothing, none, 0, healthy looking, bien, buena, bueno, bon, bonne, bene, buono, gut, bom, boa, nada, rien, niente, nulla, nichts, sa, sao, ras, viva, vivant, vivante, lebt, rac, o b, i o, io, ob"),
    **_each("no vine", "gone, absent, absente, ausente, assente, empty, empty spot, gap, vacant, blank, hole, removed, pulled, pulled out, ripped out, cut out, vacio, vacia, hueco, vide, trou, vuoto, vuota, entfernt, leer, lucke, vazio, vazia, eliminada, cortada, rausgerissen, ausgerissen, weg"),
    **_each("replanted", "new, new vine, young, young vine, new plant, replacement, planted, nueva, nuevo, planta nueva, joven, plantada, plantee, nouveau, nouveau pied, nouvelle, jeune, jeune pied, remplace, remplacee, barbatella, nuova, nuova vite, giovane, sostituita, neu, jung, jungrebe, junge rebe, ersetzt, nova, novo, jovem, substituida, planta nova"),
    **_each("not scouted", "-, --, ---, ?, ??, ???, ., n/a, na, n a, nd, n d, k a, ka, no data, unknown, sin datos, s/d, sans donnees, inconnu, keine angabe, unbekannt, sem dados, sconosciuto"),
    **_each("work renew_trunk", "trunk retrained, trunk renewed, trunk renewal, trunk replaced, recepe, recepee, recepage, rebajada, stamm erneuert, stammruckschnitt, tronco rinnovato, tronco renovado"),
    **_each("work renew_arm", "arm retrained, cordon retrained, arm renewed, cordon renewed, renewed arm, renewed cordon, brazo renovado, bras renouvele, braccio rinnovato, arm erneuert, kordon erneuert, braco renovado"),
    **_each("work regraft", "regrafted, regraft, reinjertada, surgreffe, surgreffee, reinnestata, umveredelt, reenxertada"),
    **_each("work curettage", "curettage, curetage, curete, curetee, dendrochirurgia"),
    **_each("wood_staining", "wood staining, stained wood, madera manchada, bois tache, legno macchiato"),
}  # fmt: skip
#: Marks that say "yes, this" under a heading that names something.
MARKS = words_in("x xx 1 y yes si s oui ja j sim true ✓ ✔ + • ● v ×")
#: Marks that say "no, not this" under such a heading.
NO_MARKS = words_in("0 no n non nein nao false")
#: A word beside these is not what it says by itself.
NEGATIONS = words_in(
    "no not non nicht kein keine nao pas sin sans senza ohne sem without never ni ne nessun nessuna never"
)
#: Words that add nothing: articles, and what a vine is called.
FILLERS = words_in("""the a an on of in with at vine vines plant side la el los las en de del con cepa planta vid le les des du sur avec pied cep souche il lo gli i di
    su al vite pianta ceppo der die das am im mit rebe stock rebstock o os as no na do da com em videira lado cote lato seite year ano annee anno jahr and y et e und
    found seen observed visible symptoms symptom sintomas symptomes sintomi symptome""")  # fmt: skip
#: How people name a side, and the letter or word that stands for it.
SIDES: Mapping[str, str] = {
    **_each("N", "n, north, norte, nord, norden"), **_each("S", "s, south, sur, sud, sul, suden"),
    **_each("E", "e, east, este, est, ost, osten, leste"), **_each("W", "w, west, oeste, ouest, ovest, westen, o"),
    **_each("L", "l, left, izquierda, izquierdo, izq, izda, izqda, gauche, sinistra, sinistro, sx, links, linker, esquerda, esquerdo, esq"),
    **_each("R", "r, right, derecha, derecho, der, dcha, dcho, droite, droit, destra, destro, dx, rechts, rechter, direita, direito"),
}  # fmt: skip
#: How lines and columns of sums begin.
TOTALS = words_in("""total totals sum sums subtotal count mean average avg percent incidence totales suma media promedio cuenta totaux somme moyenne totale totali somma
    summe gesamt anzahl durchschnitt mittel tot mittelwert soma % %sick incidencia incidenza befall""")  # fmt: skip
