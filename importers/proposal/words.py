"""What the words in the cells mean: the status of an order, and what happened on a channel."""

from __future__ import annotations

import re
from functools import lru_cache

from millilot.importers.proposal.headings import compile_phrases, fit, normalise

_STATUSES = {
    "cancelled": """
        cancelled | canceled | cancelled by buyer | cancelled by seller | void | voided | annulled | abandoned
        storniert | abgebrochen | annulliert | stornierung
        annule | annulee | abandonnee | cancelado | cancelada | anulado | anulada | annullato | annullata | cancellato
        cancellata | geannuleerd | geannuleerde
        called off | cancel | reversed | order cancelled
    """,
    "skip": """
        unpaid | not paid | awaiting payment | payment failed | failed | expired | draft | declined | denied
        payment pending | waiting for payment | rejected | payment declined | payment due | unsuccessful
        unbezahlt | nicht bezahlt | zahlung ausstehend | offen | fehlgeschlagen | abgelehnt | wartet auf zahlung
        zahlung offen | abgelaufen
        impaye | impayee | non paye | non payee | en attente de paiement | echoue | echouee | refuse | refusee | echec
        no pagado | sin pagar | pendiente de pago | fallido | rechazado | impagado | fallida | no pagada | esperando pago
        non pagato | in attesa di pagamento | fallito | rifiutato | non pagata | non riuscito
        onbetaald | niet betaald | wacht op betaling | mislukt | geweigerd | betaling mislukt
    """,
    "pending": """
        pending | authorised | authorized | authorisation | on hold | processing payment | uncleared | in escrow
        pending settlement | held | not settled | unsettled
        ausstehend | autorisiert | schwebend | vorgemerkt | in bearbeitung bei der zahlung
        en attente | autorise | autorisee | en cours de paiement
        pendiente | autorizado | retenido | autorizada | in sospeso | autorizzato | in attesa | autorizzata
        in behandeling bij betaling | gereserveerd | openstaand
    """,
    "to-pour": """
        paid | awaiting shipment | awaiting dispatch | to ship | ready to ship | unshipped | unfulfilled | new | open
        processing | awaiting fulfilment | awaiting fulfillment | not shipped | to be shipped | waiting | in progress
        preparing | accepted | confirmed | received | to dispatch | not dispatched | ordered
        bezahlt | zu versenden | versandbereit | neu | in bearbeitung | nicht versandt | wartet auf versand
        versand ausstehend | bestatigt
        paye | payee | a expedier | nouvelle | en preparation | non expedie | a envoyer | en cours | en traitement
        nouveau | preparation | confirmee
        pagado | pagada | por enviar | nuevo | en preparacion | pendiente de envio | sin enviar | procesando | nueva
        pagato | pagata | da spedire | nuovo | in lavorazione | in preparazione | nuova | non spedito
        betaald | te verzenden | nieuw | in behandeling | nog niet verzonden | klaar voor verzending
    """,
    "book": """
        shipped | delivered | completed | complete | fulfilled | dispatched | sent | done | closed | settled | refunded
        partially refunded | partly refunded | returned | finished | despatched | posted | paid out | archived | ok
        partial refund | success | successful | paid and shipped | in transit | on its way | received by buyer
        refund issued | cleared | sold | part refunded | mailed | released
        versandt | versendet | geliefert | abgeschlossen | zugestellt | verschickt | erledigt | erstattet
        teilweise erstattet | zuruckgesendet | teilerstattet | unterwegs | fertig | erfolgreich | verkauft
        ausgezahlt | teilerstattung
        expedie | expediee | livre | livree | terminee | termine | envoyee | envoye | remboursee | rembourse
        partiellement rembourse | partiellement remboursee | cloturee | retournee | reussi | effectue | vendu
        remboursement partiel
        enviado | entregado | completado | enviada | entregada | finalizado | reembolsado | reembolsada | completada
        parcialmente reembolsado | devuelto | finalizada | vendido | cerrado
        spedito | consegnato | completato | spedita | consegnata | concluso | rimborsato | evaso | completata
        rimborsata | parzialmente rimborsato | inviato | evasa | conclusa | venduto
        verzonden | geleverd | voltooid | afgerond | bezorgd | terugbetaald | gedeeltelijk terugbetaald | afgehandeld
        verkocht | geretourneerd
    """,
}

_EVENTS = {
    "price": """
        sale | order | principal | item | item price | product | goods | sale proceeds | item sale | product charges
        price | merchandise | order payment | payment received | payment from buyer | sold | item sold | purchase
        express checkout payment | website payment | buyer payment | product sales | item subtotal | sales | checkout
        payment for goods | customer payment | goods and services payment | sale payment | article
        verkauf | bestellung | artikel | warenwert | artikelpreis | erlos | kaufpreis | zahlungseingang | verkaufserlos
        zahlung erhalten | ware | auftrag | kauferzahlung
        vente | commande | prix | prix article | paiement recu | paiement acheteur | produit | vente article
        paiement client | montant article
        venta | pedido | precio | articulo | pago recibido | pago del comprador | producto | importe del articulo
        vendita | ordine | prezzo | articolo | pagamento ricevuto | prodotto | pagamento acquirente
        verkoop | bestelling | artikelprijs | betaling ontvangen | betaling koper | prijs
        payment | money received | income from sale | verkaufspreis | buyer paid | proceeds
    """,
    "postage": """
        shipping | postage | delivery | shipping charged | postage charged | shipping income | postage paid by buyer
        delivery charge | buyer shipping | shipping price | postage and packing | shipping paid | carriage
        shipping revenue | shipping credit | shipping credits | buyer postage | delivery paid by buyer
        versand | versandkosten | porto | versandkosten kaufer | versandpauschale | versanderlos
        frais de port | port | livraison | frais d envoi | expedition | port acheteur | port facture
        envio | gastos de envio | portes | envio cobrado
        spedizione | spese di spedizione | spese spedizione | spedizione pagata
        verzendkosten | verzending | porti
        delivery charged | shipping charges | shipping fee from buyer | versandkosten erhalten | post | port percu
    """,
    "discount": """
        discount | coupon | seller discount | promotion discount | voucher | seller coupon | promo | price reduction
        rabatt | gutschein | nachlass | remise | bon de reduction | reduction | descuento | cupon | rebaja
        sconto | buono | korting | kortingsbon
        promotion | price cut | discounts | seller promotion
    """,
    "tax": """
        tax | sales tax | vat | tax collected | sales tax collected | item tax | shipping tax | gst | product tax
        postage tax | tax charged | tax paid by buyer
        steuer | mwst | ust | umsatzsteuer | mehrwertsteuer | taxe | tva | tva collectee | impuesto | iva | impuestos
        imposta | imposte | iva incassata | btw | belasting
    """,
    "tax-remitted": """
        tax withheld | tax remitted | marketplace facilitator tax | tax paid by marketplace | withheld tax
        sales tax remitted | tax remittance | sales tax withheld | tax handed on | marketplace tax withheld
        vat remitted | vat withheld | tax passed on | facilitator tax | tax deducted | tax to state
        steuer abgefuhrt | abgefuhrte steuer | einbehaltene steuer | umsatzsteuer abgefuhrt | mwst abgefuhrt
        taxe reversee | tva reversee | tva retenue | taxe retenue | impuesto retenido | iva retenido | iva ingresado
        iva versata | imposta versata | iva trattenuta | btw afgedragen | ingehouden btw | afgedragen btw
        marketplace tax | tax collected by marketplace | tax kept | tax sent on
    """,
    "fee": """
        fee | fees | commission | selling fee | transaction fee | processing fee | payment fee | final value fee
        listing fee | service fee | platform fee | marketplace fee | insertion fee | store subscription | subscription
        payment processing | payment processing fee | charge | referral fee | cross border fee | fixed fee | card fee
        regulatory fee | shop fee | monthly fee | store fee | international fee | dispute fee | account fee
        commission fee | sale fee | channel fee | selling charge | plan fee | membership | chargeback fee
        gebuhr | gebuhren | *gebuhr | *gebuhren | provision | *provision | abogebuhr | entgelt | *entgelt | monatsgebuhr
        frais | commission | frais de vente | frais de transaction | frais de paiement | abonnement | frais de service
        frais d annonce | frais de mise en vente | commission de vente | frais de commission | frais bancaires
        comision | tarifa | comision de venta | tarifa de transaccion | suscripcion | comisiones | tarifa de venta
        tarifa de pago | cargo | tarifas
        commissione | tariffa | commissioni | commissione di vendita | abbonamento | spese | canone | tariffe
        kosten | commissie | verkoopkosten | transactiekosten | abonnement kosten | servicekosten | *kosten
        abonnementskosten | provisie
    """,
    "ads": """
        ad | ads | advertising | ad fee | promoted listing | promoted listing fee | advertising fee | promotion fee
        marketing fee | boost | ad charge | ads charge | advertising charge | offsite ads fee | promoted listings
        ad spend | sponsored listing | featured listing | marketing | promoted
        werbung | werbekosten | werbegebuhr | anzeigengebuhr | anzeige | publicite | frais de publicite | mise en avant
        publicidad | anuncio | promocion pagada | pubblicita | inserzione sponsorizzata | advertentiekosten | reclame
        advertentie
        promotion of listing | promoting
    """,
    "label": """
        label | shipping label | postage label | label purchase | shipping label purchase | postage purchase
        label cost | label adjustment | postage purchased | label charge | shipping labels | label correction
        postage label purchase | return label | shipping cost | label surcharge | postage correction | label fee
        shipping label fee | label void | label refund | postage cost
        versandetikett | versandlabel | etikett | paketschein | paketmarke | versandmarke | versandschein
        etiquette | etiquette d expedition | bordereau | achat etiquette | etiquette d envoi | bordereau d envoi
        etiqueta | etiqueta de envio | compra de etiqueta | etichetta | etichetta di spedizione
        verzendlabel | verzendetiket | aankoop label
        voided label | label voided
    """,
    "refund": """
        refund | refunded | payment refund | refund to buyer | partial refund | return | refund issued | full refund
        item refund | refund item | principal refund | refunded item | refund price | refund sent | order refund
        erstattung | ruckerstattung | ruckzahlung | teilerstattung | gutschrift an kaufer | rucksendung
        remboursement | remboursement partiel | remboursement acheteur | retour
        reembolso | devolucion | reembolso parcial | reembolso al comprador
        rimborso | rimborso parziale | reso | terugbetaling | gedeeltelijke terugbetaling | restitutie | retour koper
        reversal | payment reversal | money returned to buyer | reversed payment
    """,
    "refund-tax": """
        tax refund | refund tax | refunded tax | tax refunded | sales tax refund | refund of tax | vat refund
        steuererstattung | steuer erstattung | erstattete steuer | mwst erstattung | remboursement tva
        remboursement taxe | reembolso iva | reembolso de impuesto | rimborso iva | rimborso imposta
        terugbetaling btw | btw terugbetaling
    """,
    "fee-refund": """
        fee refund | refund fee | fee credit | fee refunded | fee reversal | refunded fee | commission refund
        fee returned | selling fee refund | fees refunded | refund of fee | fee adjustment credit | commission refunded
        refunded fees | refund commission | refund of fees | selling fee credit | transaction fee refund
        processing fee refund | final value fee credit | fee given back
        gebuhrenerstattung | gebuhr erstattet | gebuhrengutschrift | erstattete gebuhr | provisionserstattung
        erstattung gebuhr | provision erstattet | erstattung provision | erstattung der gebuhr
        remboursement des frais | remboursement de frais | remboursement commission | frais rembourses
        remboursement de commission
        reembolso de comision | reembolso de tarifa | comision reembolsada | devolucion de comision
        rimborso commissione | rimborso commissioni | commissione rimborsata | rimborso tariffa
        terugbetaling kosten | terugbetaling commissie | terugbetaalde kosten | commissie terugbetaald
        fee returned | monthly fee returned | fee back | fees back | fee credited
    """,
    "compensation": """
        compensation | reimbursement | goodwill credit | insurance | insurance payout | lost parcel compensation
        claim paid | protection payment | lost parcel | goodwill | credit for lost parcel | insurance claim
        seller protection | marketplace credit | lost in post
        entschadigung | schadenersatz | kulanz | versicherung | kulanzgutschrift | ersatz
        indemnisation | dedommagement | geste commercial | indemnite | compensacion | indemnizacion | seguro
        indennizzo | risarcimento | compensazione | vergoeding | schadevergoeding | compensatie
        lost parcel claim | parcel claim | carrier claim | credit from carrier
    """,
    "adjustment": """
        adjustment | correction | manual adjustment | balance adjustment | other | misc | miscellaneous
        anpassung | korrektur | ausgleich | ajustement | correction manuelle | ajuste | correccion
        rettifica | correzione | aggiustamento | correctie | aanpassing
        correction by the channel | balance correction | rounding
    """,
    "hold": """
        hold | reserve | reserve hold | payment hold | funds held | held | on hold | reserved | money held
        reserve withheld | account hold | hold on balance | reserve deduction | placed on hold | hold placed
        einbehalt | reserve einbehalten | zuruckgehalten | reserve | sicherheitseinbehalt | einbehaltung | gesperrt
        retenue | reserve retenue | mise en reserve | blocage | retencion | reserva | fondos retenidos | retenido
        trattenuta | riserva | fondi trattenuti | blocco | inhouding | reservering | vastgehouden | blokkering
        held back | amount held | kept back | withheld | money held back
    """,
    "release": """
        release | reserve release | hold release | released | funds released | reserve released | hold released
        release of reserve | release of hold | reserve returned | money released | release from reserve
        freigabe | reserve freigegeben | freigegeben | auflosung reserve | freigabe einbehalt | einbehalt freigegeben
        liberation | deblocage | reserve liberee | levee de la retenue | liberacion | reserva liberada | desbloqueo
        rilascio | riserva rilasciata | sblocco | vrijgave | vrijgegeven | reserve vrijgegeven
        released | paid from reserve | hold lifted
    """,
    "dispute": """
        dispute | chargeback | case opened | dispute opened | claim opened | dispute hold | buyer claim | case
        payment dispute | opened dispute | dispute deduction | hold for dispute
        streitfall | ruckbuchung | kauferschutzfall | fall eroffnet | konflikt | ruckbelastung
        litige | litige ouvert | retrofacturation | impaye carte | disputa | contracargo | reclamacion
        contestazione | controversia | geschil | terugboeking
    """,
    "dispute-won": """
        dispute won | chargeback reversal | case closed in your favour | dispute reversed | dispute release
        chargeback reversed | case won | dispute reversal | claim won | dispute closed in your favour | dispute returned
        won dispute | reversal of dispute | chargeback won
        streitfall gewonnen | ruckbuchung aufgehoben | fall gewonnen | litige gagne | disputa ganada
        contestazione vinta | geschil gewonnen | controversia vinta
    """,
    "dispute-lost": """
        dispute lost | case lost | chargeback lost | claim lost | lost dispute
        streitfall verloren | fall verloren | litige perdu | disputa perdida | contestazione persa | geschil verloren
    """,
    "payout": """
        payout | withdrawal | transfer | transfer to bank | bank transfer | deposit to bank | disbursement | paid out
        withdrawal to bank | bank deposit | transfer to your bank | payout to bank | general withdrawal | deposit
        settlement | sent to bank | bank withdrawal | user initiated withdrawal | automatic transfer | bank payout
        payout sent | withdraw | transfer out | payment to bank | payout initiated | money sent to bank
        auszahlung | abbuchung auf bankkonto | uberweisung | bankuberweisung | abhebung | auszahlung an bank
        uberweisung an bank
        virement | versement | retrait | transfert vers la banque | virement bancaire | versement bancaire
        transferencia | retirada | pago al banco | abono en banco | transferencia bancaria | retiro | abono
        bonifico | prelievo | accredito | trasferimento | accredito bancario | versamento
        uitbetaling | overboeking | opname | storting op bank | bankoverboeking | uitbetaling naar bank
        taken from bank | debit from bank | bank debit | paid to bank | paid out to bank | auszahlung aufs konto | money to bank
    """,
    "payout-returned": """
        payout returned | returned payout | payout failed | payout reversal | transfer returned | failed payout
        payout reversed | returned transfer | transfer failed | deposit returned | failed transfer | bounced payout
        withdrawal returned | payout rejected
        auszahlung zuruck | ruckgabe auszahlung | auszahlung fehlgeschlagen | virement rejete | versement rejete
        transferencia devuelta | accredito respinto | bonifico respinto | uitbetaling mislukt
        uitbetaling teruggekeerd
        transfer reversed | transfer bounced | bounced
    """,
    "exchange": """
        currency conversion | conversion | exchange | currency exchange | fx | general currency conversion
        fx conversion | exchange difference | currency transfer | fx difference
        wahrungsumrechnung | umrechnung | devisentausch | wahrungstausch | conversion de devises | change | conversion
        cambio de divisa | conversion de divisa | conversion de moneda | cambio valuta | conversione valuta
        wisselkoers | valutaconversie | valutawissel
    """,
    "private": """
        private | personal payment | friends and family | sent to a friend | personal transfer | private payment
        private purchase | purchase made | payment sent | bill payment | money sent | personal purchase | shopping
        payment to friend | gift sent
        privat | private zahlung | privatentnahme | einkauf | zahlung gesendet | prive | paiement personnel
        paiement envoye | achat personnel | personal | pago personal | pago enviado | compra personal | privato
        pagamento personale | pagamento inviato | acquisto personale | betaling aan vriend | persoonlijke betaling
        money from a friend | money from friend | from a friend | gift | family | personal | friend
    """,
    "skip": """
        authorisation | authorization | order authorisation | void authorisation | information | note | opening balance
        closing balance | balance brought forward | balance carried forward | general authorization | statement
        authorization void | account hold for open authorization | request | invoice sent | money request
        autorisierung | anfangssaldo | endsaldo | saldovortrag | autorisation | solde initial | solde final
        autorizacion | saldo inicial | saldo final | autorizzazione | saldo iniziale | saldo finale | autorisatie
        beginsaldo | eindsaldo
    """,
}

#: What a longer text is about if no phrase explains it: words it must have one of, each.
_ABOUT = (
    ("payout-returned", (r"pay ?outs?|transfer|withdrawal|auszahlung|virement|bonifico|uitbetaling",
                         r"return\w*|fail\w*|revers\w*|reject\w*|bounced|zuruck\w*|rejete|devuelt\w*|mislukt")),
    ("fee-refund", (r"fees?|commission|\w*gebuhr\w*|\w*provision|frais|comision\w*|commission[ei]|tariff[ae]|\w*kosten",
                    r"refund\w*|credit\w*|return\w*|revers\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*"
                    r"|terugbet\w*|gutschrift|back")),
    ("refund-tax", (r"tax\w*|vat|gst|mwst|ust|\w*steuer|tva|iva|btw",
                    r"refund\w*|return\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*|terugbet\w*")),
    ("tax-remitted", (r"tax\w*|vat|gst|mwst|ust|\w*steuer|tva|iva|btw",
                      r"remit\w*|withh\w*|kept|passed|handed|\w*gefuhrt\w*|\w*behalten\w*|reverse\w*|retenu\w*|retenid\w*"
                      r"|versat\w*|trattenut\w*|\w*gedragen|ingehouden")),
    ("label", (r"\w*labels?|\w*etikett\w*|etiquettes?|etiquetas?|etichett\w*|paketschein",)),
    ("dispute-won", (r"dispute|chargeback|case|claim|streitfall|litige|disputa", r"won|favou?r|gewonnen|gagne|ganad\w*|vint\w*")),
    ("dispute-lost", (r"dispute|chargeback|case|claim|streitfall|litige|disputa", r"lost|verloren|perdu|perdid\w*|pers\w*")),
    ("dispute", (r"disputes?|disputed|chargebacks?|streitfall|litige|disputa|geschil",)),
    ("release", (r"releas\w*|freigab\w*|freigegeben|liber\w*|debloqu\w*|sblocc\w*|vrijg\w*",)),
    ("hold", (r"holds?|held|reserv\w*|einbehalt\w*|retenue|retencion|trattenut\w*|inhouding",)),
    ("payout", (r"pay ?outs?|withdrawals?|disburse\w*|auszahlung\w*|versement|virement|bonifico|uitbetaling\w*"
                r"|transferencia", )),
    ("refund", (r"refund\w*|\w*erstatt\w*|rembours\w*|reembols\w*|rimbors\w*|terugbet\w*|ruckzahlung",)),
    ("ads", (r"adverts?|advertis\w*|ads?|promoted|werbe\w*|werbung|publicit\w*|publicidad|pubblicita|reclame|advertentie\w*",)),
    ("compensation", (r"compensat\w*|reimburse\w*|insurance|goodwill|entschadig\w*|indemni\w*|vergoeding|risarciment\w*",)),
    ("fee", (r"fees?|commission\w*|\w*gebuhr\w*|\w*provision|frais|comision\w*|tarif\w*|subscription|charges?|abonnement",)),
    ("adjustment", (r"adjust\w*|correct\w*|\w*korrektur|ajust\w*|rettific\w*|corre[zc]\w*",)),
    ("exchange", (r"conver\w*|exchange|\w*umrechnung|fx",)),
    ("tax", (r"tax|vat|gst|mwst|ust|\w*steuer|tva|iva|btw",)),
    ("postage", (r"postage|shipping|delivery|versand\w*|porto|port|envio|spedizion\w*|verzend\w*",)),
    ("price", (r"sales?|sold|verkauf\w*|vente|venta|vendita|verkoop",)),
)

_STATUS_TABLE = {status: compile_phrases(phrases) for status, phrases in _STATUSES.items()}
_EVENT_TABLE = {kind: compile_phrases(phrases) for kind, phrases in _EVENTS.items()}


@lru_cache(maxsize=5000)
def status_of(text: str) -> tuple[str, float]:
    """Return the key of `[status]` a word belongs to, and how well; the empty key for a word nobody knows."""
    words = normalise(text).split()
    scores = {status: max((fit(phrase, words) for phrase in table), default=0.0)
              for status, table in _STATUS_TABLE.items()}
    best = max(scores, key=lambda status: scores[status])
    return (best, scores[best]) if scores[best] >= 0.5 else ("", 0.0)


@lru_cache(maxsize=5000)
def event_of(text: str) -> tuple[str, float]:
    """Return what a word for an event is, and how well it fits; the empty kind for a word nobody knows."""
    words = normalise(text).split()
    scores = {kind: max((fit(phrase, words) for phrase in table), default=0.0)
              for kind, table in _EVENT_TABLE.items()}
    best = max(scores, key=lambda kind: scores[kind])
    if scores[best] >= 0.6:
        return best, scores[best]
    plain = " ".join(words)
    for kind, groups in _ABOUT:
        if all(re.search(rf"\b(?:{group})\b", plain) for group in groups):
            return kind, 0.6
    return (best, scores[best]) if scores[best] >= 0.45 else ("", 0.0)


def slug(text: str) -> str:
    """Return a heading or a word as the kind of a fee: lower case, with hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", normalise(text)).strip("-") or "fee"
