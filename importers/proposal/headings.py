"""What the headings of a file can mean: the words of bookkeeping in six languages.

A phrase is words as they follow each other in a heading; `*` stands for any letters, for the languages that
write compounds in one word. Accents and the case of letters count for nothing. A heading means the more of
something the more of it the phrase explains.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

#: Roles whose cells must not reach the books, and are of no use here.
PRIVATE = "private"

_PHRASES = {
    "order": """
        order | order id | order no | order nr | order number | order ref | order reference | sale id | sale no
        order code | sales order | purchase order | receipt id | transaction order | sale number | sale ref
        bestellung | bestellnummer | bestell nr | bestellnr | bestell id | auftrag | auftragsnummer | auftrags nr
        auftragsnr | auftrags id | verkaufsnummer | verkauf nr | bestellreferenz
        commande | numero de commande | n de commande | no de commande | n commande | numero commande
        reference commande | reference de commande | id commande | num commande | ref commande | commande n
        pedido | numero de pedido | n de pedido | no de pedido | id de pedido | id pedido | n pedido | num pedido
        referencia del pedido | numero pedido | orden | numero de orden
        ordine | numero ordine | n ordine | id ordine | numero d ordine | riferimento ordine | nr ordine | cod ordine
        bestelling | ordernummer | bestelnummer | ordernr | bestelnr | bestel id | bestelling nr | order nummer
        invoice | invoice no | invoice number | invoice id | rechnung | rechnungsnummer | rechnungsnr | facture | factura
        n de facture | numero de facture | numero de factura | fattura | numero fattura | factuur | factuurnummer
        purchase no | purchase id | basket | basket id | cart id | reference order | sale | sale reference | our order
    """,
    "ordered": """
        ordered | ordered on | order date | date ordered | ordered at | sale date | date of sale | sold on | sold
        created | created at | created on | purchase date | purchased on | purchased | date placed | placed on
        placed | order placed | order time | order created | date of order | paid on | payment date | paid at
        order day | day of sale | date sold | sold at | sold date | purchased at | placed at | date paid
        bestelldatum | bestellt am | bestellt | verkaufsdatum | verkauft am | kaufdatum | gekauft am | auftragsdatum
        datum der bestellung | bestellung vom | bezahlt am | zahlungsdatum | bestelltag | datum des verkaufs
        date de commande | date commande | commande le | date de vente | vendu le | date d achat | achete le
        date de la commande | date de la vente | passee le | commandee le | date vente
        fecha del pedido | fecha de pedido | fecha pedido | fecha de venta | fecha de compra | vendido el
        fecha venta | pedido el | fecha de la venta
        data ordine | data dell ordine | data vendita | data di vendita | data acquisto | venduto il | ordinato il
        data d ordine | data dell acquisto | data di acquisto
        besteldatum | verkoopdatum | datum bestelling | besteld op | verkocht op | aankoopdatum | orderdatum
        datum verkoop | gekocht op
    """,
    "date": """
        date | day | datum | fecha | data | tag | buchungstag | buchungsdatum | booking date | booked on | posted
        posting date | transaction date | event date | posted on | date posted | entry date | date time | datetime
        timestamp | valuta | wertstellung | value date | activity date | occurred at | occurred | when | time stamp
        date operation | date d operation | date de l operation | date comptable | date de valeur | date valeur
        fecha operacion | fecha de operacion | fecha valor | fecha contable | fecha y hora | fecha de transaccion
        data operazione | data contabile | data valuta | data movimento | data transazione | data e ora
        boekdatum | boekingsdatum | transactiedatum | datum tijd | rentedatum | datum transactie | boekdag
        transaktionsdatum | vorgangsdatum | datum uhrzeit | date de transaction | date transaction | date heure
        date et heure | date booked | processed on | processed | date of transaction
    """,
    "settled": """
        settled | settled on | settlement date | date settled | settled at | cleared | cleared on | released on
        available on | completed on | completed at | funds available | date cleared | settlement day | settle date
        abgerechnet am | abgerechnet | abrechnungsdatum | verrechnet am | abrechnung am | abrechnungstag
        date de reglement | date reglement | regle le | reglee le | date de decompte
        fecha de liquidacion | liquidado el | fecha liquidacion
        data regolamento | data di regolamento | regolato il | data liquidazione | data di liquidazione
        afgerekend op | afrekendatum | afrekeningsdatum | verrekend op
    """,
    "paid_out": """
        paid out | paid out on | payout date | payout on | date of payout | transfer date | transferred on
        deposit date | disbursed on | disbursement date | date paid out | payout day | paid out at
        auszahlungsdatum | ausgezahlt am | ausgezahlt | auszahlung am | uberweisungsdatum | uberwiesen am
        date de versement | verse le | date versement | versee le | date de virement | date virement
        fecha de pago | fecha de transferencia | fecha de abono | abonado el | fecha del pago
        data accredito | data di accredito | accreditato il | data pagamento | data bonifico | data versamento
        uitbetaald op | uitbetalingsdatum | datum uitbetaling | uitbetaald
        paid | paid to bank on | sent to bank on | ausbezahlt am | deposited on | deposited
    """,
    "shipped": """
        shipped | shipped on | ship date | date shipped | dispatched | dispatched on | dispatch date | sent on
        shipped at | posted to buyer | shipping date | shipment date | fulfilled on | fulfilled at | mailed on
        despatched | despatched on | date dispatched | date sent | fulfilment date | fulfillment date
        versandt am | versendet am | versanddatum | verschickt am | versandt | verschickt | versendet | versandtag
        expedie le | expediee le | date d expedition | date expedition | envoye le | envoyee le | date d envoi
        fecha de envio | enviado el | fecha envio | enviado
        data spedizione | data di spedizione | spedito il | spedito | inviato il
        verzonden op | verzenddatum | verzonden | verstuurd op | datum verzending
    """,
    "title": """
        title | item | item title | item name | product | product name | product title | listing | listing title
        article | name of item | items | goods | item description | items sold | item s | line item | lineitem name
        lineitem title | what was sold | item sold | product description | offer | offer title
        artikel | artikelbezeichnung | bezeichnung | artikelname | titel | produkt | produktname | ware | angebot
        artikelbeschreibung | produkttitel | angebotstitel | artikeltitel | produktbezeichnung
        titre | produit | nom du produit | designation | libelle produit | libelle article | nom de l article
        titre de l annonce | annonce | titre de l article | titre du produit | intitule | designation produit
        titulo | articulo | producto | nombre del producto | nombre del articulo | anuncio | titulo del anuncio
        titulo del articulo | titulo del producto | descripcion del producto | descripcion del articulo
        titolo | articolo | prodotto | nome prodotto | nome articolo | inserzione | descrizione articolo
        titolo inserzione | titolo articolo | descrizione prodotto | nome del prodotto | oggetto venduto | oggetto
        artikelnaam | productnaam | omschrijving artikel | artikelomschrijving | product omschrijving | advertentie
        artikeltitel | producttitel
    """,
    "sku": """
        sku | seller sku | item sku | variation | custom label | stock code | product code | item code | variant sku
        lineitem sku | article code | article no | merchant sku | own code | seller code | stock no
        artikelnummer | artikelnr | artikel nr | art nr | artnr | bestandseinheit | produktcode | artikelcode
        reference article | ref article | reference produit | code article | code produit | reference vendeur
        codigo | referencia | codigo de articulo | codigo del producto | ref articulo | codigo articulo
        codice articolo | cod articolo | codice prodotto | codice
        artikelcode | productcode
    """,
    "quantity": """
        quantity | qty | units | count | number of items | pieces | pcs | item quantity | items count | no of items
        lineitem quantity | item count | units sold | quantity sold | quantity purchased | how many
        menge | anzahl | stuckzahl | stuck | stk | anz | verkaufte menge
        quantite | qte | nombre | nombre d articles | nb | unites
        cantidad | unidades | uds | cant | piezas
        quantita | qta | pezzi | unita | numero pezzi
        aantal | stuks | hoeveelheid
    """,
    "price": """
        price | item total | item price | subtotal | item subtotal | sub total | items total | goods total
        product sales | sale amount | sales amount | item amount | line total | merchandise | product amount
        principal | goods | sold for | sale price | item value | order value | items subtotal | line price
        merchandise total | value of items | goods value | product total | product charges | items price
        item revenue | product price | selling price | item sale | line amount | items value | item sales | sales
        price of goods | goods amount | order subtotal | article price | item gross
        preis | artikelpreis | warenwert | verkaufspreis | kaufpreis | artikelsumme | positionssumme | zwischensumme
        warenpreis | artikelbetrag | positionsbetrag | verkaufserlos | umsatz | gesamtpreis artikel | summe artikel
        positionspreis | artikelwert | warenbetrag | verkaufsbetrag | artikel summe | zeilensumme
        prix | prix de vente | prix article | sous total | montant article | montant articles | total articles
        prix de l article | montant produit | prix des articles | total ligne | montant ligne | valeur articles
        montant de la vente | montant vente | prix du produit | prix produit | total produits | montant des articles
        precio | precio de venta | importe articulo | subtotal articulos | importe de articulos | total articulos
        precio del articulo | importe del articulo | importe producto | precio del producto | importe venta
        importe de venta | total linea | importe linea | precio articulo | importe de la venta | precio producto
        prezzo | prezzo di vendita | importo articoli | subtotale | totale articoli | prezzo articolo | prezzo vendita
        importo articolo | totale riga | importo vendita | prezzo dell articolo | totale prodotti | prezzo prodotto
        importo riga | importo prodotto | valore articoli
        prijs | verkoopprijs | artikelprijs | subtotaal | artikelbedrag | totaal artikelen | regeltotaal | verkoopbedrag
        productprijs | artikelen totaal | bedrag artikelen | regelbedrag | productbedrag
    """,
    "unit_price": """
        unit price | price each | price per item | price per unit | each | price per piece | lineitem price
        single price | item unit price | per item | per unit | unit cost | price one | rate each
        einzelpreis | stuckpreis | preis pro stuck | preis je stuck | stk preis | einheitspreis | e preis
        prix unitaire | pu | prix a l unite | prix par article | p u
        precio unitario | precio por unidad | precio unidad | p unitario
        prezzo unitario | prezzo per unita | prezzo cad | prezzo cadauno
        stukprijs | prijs per stuk | eenheidsprijs
    """,
    "discount": """
        discount | coupon | voucher | promotion | seller discount | discount amount | reduction | promo | money off
        item discount | coupon amount | seller promotion | shop discount | discounts | markdown | offer discount
        bundle discount | seller coupon | rebate | coupon discount
        rabatt | gutschein | nachlass | rabattbetrag | preisnachlass | gutscheinbetrag | verkauferrabatt | aktion
        remise | bon | reduction vendeur | code promo | rabais | bon de reduction | montant remise | promotion vendeur
        descuento | cupon | vale | rebaja | importe descuento | descuento vendedor
        sconto | buono | coupon sconto | sconto venditore | importo sconto | buono sconto
        korting | kortingsbedrag | couponkorting | kortingsbon | actie | waardebon
    """,
    "postage": """
        postage | shipping | delivery | postage charged | shipping charged | delivery charged | postage paid by buyer
        shipping price | shipping income | shipping paid | shipping amount | shipping total | carriage | freight
        postage and packing | p p | p and p | shipping and handling | shipping charge | delivery charge
        delivery fee | shipping fee | shipping fee charged | shipping revenue | postage amount | post | shipping credit
        shipping credits | postage income | buyer paid shipping | buyer postage | buyer shipping | shipping collected
        shipping paid by buyer | delivery paid by buyer | delivery price | delivery income | postage price
        postage received | delivery amount | postage and handling | postage total | shipping received | handling
        versand | versandkosten | porto | versandgebuhr | versandkosten kaufer | lieferkosten | versandpreis
        portokosten | versanderlos | versandpauschale | versandbetrag | versandkostenanteil | liefergebuhr
        versand kaufer | porto kaufer | versandeinnahmen | versand bezahlt | porto und verpackung
        frais de port | port | livraison | frais de livraison | frais d envoi | expedition | frais d expedition
        frais de port factures | port paye | montant livraison | port facture | envoi | frais de port acheteur
        frais de port payes | montant port
        envio | gastos de envio | portes | coste de envio | costes de envio | importe envio | envio cobrado
        gastos envio | envio pagado | importe de envio
        spedizione | spese di spedizione | spese spedizione | costi di spedizione | importo spedizione | trasporto
        spedizione pagata | costo spedizione | spese postali | costi spedizione | spedizione addebitata
        verzendkosten | verzending | porti | bezorgkosten | portokosten | verzendkosten koper | verzendbedrag
        leveringskosten | verzendkosten betaald
    """,
    "tax": """
        tax | sales tax | vat | gst | hst | tax collected | tax amount | sales tax collected | tax charged | taxes
        vat amount | tax paid by buyer | buyer tax | total tax | vat collected | vat charged | state tax | tax total
        marketplace tax | gst collected | tax on sale
        steuer | mwst | ust | umsatzsteuer | mehrwertsteuer | steuerbetrag | mwst betrag | ust betrag | steuern
        mwst kaufer | enthaltene steuer
        taxe | tva | taxes | montant tva | taxe de vente | montant de la tva | tva collectee | montant taxe
        impuesto | iva | impuestos | importe iva | iva cobrado | impuesto sobre ventas
        imposta | imposte | importo iva | tasse | iva incassata | tassa
        belasting | btw | btw bedrag | omzetbelasting | belastingen
    """,
    "tax_withheld": """
        tax withheld | tax remitted | marketplace withheld tax | tax paid by marketplace | tax remitted by channel
        tax passed on | facilitator tax | tax paid on | sales tax remitted | withheld tax | tax handed on
        sales tax withheld | vat remitted | vat withheld | tax deducted | tax remittance | sales tax paid by platform
        abgefuhrte steuer | steuer abgefuhrt | einbehaltene steuer | steuer einbehalten | ust abgefuhrt
        abgefuhrte ust | abgefuhrte mwst | mwst abgefuhrt
        taxe reversee | tva reversee | taxe retenue | tva retenue | taxes reversees
        impuesto retenido | iva retenido | impuestos retenidos | iva ingresado por la plataforma
        imposta versata | iva versata | iva trattenuta | imposta trattenuta
        ingehouden belasting | afgedragen btw | ingehouden btw | btw afgedragen | btw ingehouden | afgedragen belasting
        marketplace tax withheld | tax kept by marketplace | tax kept | tax sent on
    """,
    "gross": """
        gross | total | order total | total paid | buyer paid | amount paid | grand total | gross amount | total amount
        total price | paid by buyer | total charged | gross sales | buyer total | total paid by buyer | gross total
        gesamt | gesamtbetrag | gesamtsumme | brutto | bruttobetrag | summe | gesamtpreis | kaufer zahlt
        vom kaufer bezahlt | bezahlter betrag | rechnungsbetrag | endbetrag
        total paye | montant total | brut | montant brut | total commande | paye par l acheteur | total ttc
        importe total | bruto | total pagado | importe bruto | total pedido | pagado por el comprador | total del pedido
        totale | lordo | importo lordo | totale ordine | totale pagato | importo totale | pagato dall acquirente
        totaal | totaalbedrag | brutobedrag | betaald door koper | totaal betaald | totaal bestelling
    """,
    "net": """
        net | net amount | earnings | proceeds | net proceeds | you earn | you earned | your earnings | net total
        order earnings | amount credited | credited to you | net payout | seller proceeds | to be paid out | you receive
        net to seller | payout amount | net earnings | you get | seller receives | your share | amount due to you
        total to seller | seller earnings | net revenue | net credit | due to seller | amount you receive | takings
        total earnings | left for you | credited | paid to you | net income | net sales proceeds | your proceeds
        netto | nettobetrag | gutgeschrieben | gutschrift | auszahlungsbetrag | erlos | nettoerlos | verdienst
        ihr erlos | ihr verdienst | auszahlbar | dein erlos | verkaufererlos | dein verdienst | auszuzahlen
        net a payer | montant net | net percu | vos gains | net verse | net vendeur | gains | montant verse
        neto | importe neto | ganancias | neto a cobrar | tus ganancias | ingreso neto | total a recibir | abonado
        ricavo netto | importo netto | guadagno | netto a te | accreditato | netto venditore | incasso netto
        nettobedrag | opbrengst | netto opbrengst | uw opbrengst | je verdient | netto uitbetaling | te ontvangen
        paid | paid to bank | amount paid out | total paid out | sent to bank
    """,
    "fee": """
        fee | fees | commission | selling fee | selling fees | transaction fee | transaction fees | processing fee
        payment fee | payment processing | payment processing fee | final value fee | marketplace fee | seller fee
        platform fee | service fee | listing fee | fixed fee | card fee | payment charge | channel fee | store fee
        processing | processing fees | regulatory fee | commission fee | referral fee | sales commission | provision
        insertion fee | selling charge | per order fee | order fee | payment fees | handling fee | charge | charges
        marketplace commission | sale fee | currency fee | cross border fee | international fee | gateway fee
        payment commission | payment cost | payment costs | seller commission | marketplace charge
        gebuhr | gebuhren | provision | verkaufsgebuhr | verkaufsprovision | zahlungsgebuhr | transaktionsgebuhr
        *gebuhr | *gebuhren | *provision | *gebuehr | *gebuehren | zahlungskosten | verkaufsgebuhren | entgelt
        *entgelt | vermittlungsprovision
        frais | frais de vente | frais de transaction | frais de paiement | frais de service | frais de commission
        commission de vente | frais bancaires | frais de traitement | commission vendeur | frais fixes | frais d annonce
        frais de plateforme | commission paiement | frais paiement | frais fixe | commission vente
        comision | comisiones | tarifa | tarifas | comision de venta | tarifa de venta | tarifa de pago
        comision por venta | tarifa de transaccion | gastos de pago | comision de pago | comision pago | cargo fijo
        tarifa fija | comision fija | tarifa de procesamiento
        commissione | commissioni | commissione di vendita | tariffa | tariffe | commissione di pagamento
        costo di transazione | spese di pagamento | commissione vendita | commissione pagamento | commissione fissa
        tariffa fissa | costi di pagamento | commissione incasso
        kosten | commissie | verkoopkosten | transactiekosten | betaalkosten | *kosten | servicekosten | provisie
        verkoopcommissie | vaste kosten | betalingskosten
    """,
    "fee_total": """
        total fees | fees total | total charges | sum of fees | all fees | total fee | fees in total | total deductions
        gebuhren gesamt | gesamtgebuhren | summe gebuhren | gebuhrensumme | gebuhren insgesamt
        total frais | frais totaux | total des frais | total des commissions | total commissions
        total comisiones | comisiones totales | total tarifas | total de comisiones | total de tarifas
        totale commissioni | commissioni totali | totale tariffe
        totale kosten | totaal kosten | kosten totaal | totale commissie
    """,
    "ads": """
        ad fee | ads | ad | advertising | promotion fee | promoted listing fee | ad cost | advertising fee | ads fee
        ad spend | promoted | promoted fee | marketing fee | boost fee | boost | offsite ads | promotion cost
        advertising cost | sponsored fee | featured fee | visibility fee
        werbung | werbekosten | werbegebuhr | anzeigengebuhr | anzeigenkosten | werbekostenanteil | *werbung
        hervorhebungsgebuhr
        publicite | frais de publicite | frais publicitaires | mise en avant | frais de promotion | cout publicite
        publicidad | gastos de publicidad | anuncios | coste de publicidad | tarifa de publicidad | promocion
        pubblicita | spese pubblicitarie | costo pubblicita | commissione pubblicita | tariffa pubblicitaria
        advertentiekosten | reclame | reclamekosten | promotiekosten
        werbeanzeigen | advert | advert fee | adverts
    """,
    "label": """
        label | shipping label | label cost | postage label | label fee | postage cost | shipping cost | labels
        label charge | shipping label cost | postage purchased | label purchase | shipping label fee | postage bought
        postage label cost | cost of label | label price | shipping costs | postage label fee | label purchased
        delivery cost | cost of postage | cost of shipping | parcel label | seller shipping cost
        versandetikett | versandlabel | etikett | paketmarke | labelkosten | versandmarke | etikettkosten | paketschein
        versandschein | porto label | labelgebuhr | versandetikett kosten
        etiquette | bordereau | etiquette d expedition | etiquette d envoi | cout d expedition | cout etiquette
        bordereau d envoi | etiquette de transport
        etiqueta | etiqueta de envio | coste de etiqueta | coste etiqueta | etiqueta envio
        etichetta | etichetta di spedizione | costo etichetta | etichetta spedizione
        verzendlabel | labelkosten | verzendetiket | kosten label | pakketlabel
    """,
    "refund": """
        refund | refunded | refund amount | amount refunded | refunded amount | returned to buyer | refunds
        refunded to buyer | refund total | total refunded | refunded total | money back | returns
        erstattung | erstattet | ruckerstattung | erstattungsbetrag | ruckzahlung | erstatteter betrag | erstattungen
        ruckerstattet
        remboursement | rembourse | montant rembourse | montant du remboursement | remboursements
        reembolso | reembolsado | importe reembolsado | devolucion | importe del reembolso | reembolsos
        rimborso | rimborsato | importo rimborsato | importo rimborso | rimborsi
        terugbetaling | terugbetaald | terugbetaald bedrag | restitutie | terugbetaalbedrag
        back to buyer | given back | sent back to buyer
    """,
    "refund_date": """
        refunded on | refund date | date of refund | date refunded | refunded at | returned on | refund issued
        refund issued on | refund day
        erstattet am | erstattungsdatum | ruckerstattet am | erstattung am | datum erstattung | ruckzahlungsdatum
        rembourse le | date de remboursement | date remboursement | date du remboursement
        fecha de reembolso | reembolsado el | fecha reembolso | fecha del reembolso | fecha devolucion
        data rimborso | rimborsato il | data di rimborso | data del rimborso
        terugbetaald op | datum terugbetaling | restitutiedatum | terugbetaaldatum
    """,
    "refund_tax": """
        tax refunded | refunded tax | refund tax | tax refund | vat refunded | refund of tax | sales tax refunded
        erstattete steuer | steuer erstattet | steuererstattung | mwst erstattet | ust erstattet | erstattete mwst
        erstattete ust | taxe remboursee | tva remboursee | remboursement tva | impuesto reembolsado | iva reembolsado
        imposta rimborsata | iva rimborsata | terugbetaalde btw | btw terugbetaald | terugbetaalde belasting
    """,
    "refund_fee": """
        fee refunded | fees refunded | fee refund | refunded fee | fee credit | refunded fees | commission refunded
        fee returned | fees returned | fee credited back | fee reversal | fees credited | returned fee | fee given back
        gebuhr erstattet | erstattete gebuhr | gebuhrenerstattung | erstattete gebuhren | gebuhrengutschrift
        provision erstattet | erstattete provision | gebuhren erstattet
        frais rembourses | commission remboursee | remboursement des frais | remboursement commission
        comision reembolsada | tarifa reembolsada | reembolso de comision | comision devuelta | reembolso comision
        commissione rimborsata | rimborso commissione | commissioni rimborsate | rimborso commissioni
        kosten terugbetaald | terugbetaalde kosten | commissie terugbetaald | terugbetaalde commissie
        fee back | fees back | commission back
    """,
    "payout": """
        payout | payout id | payout no | payout number | payout ref | payout reference | transfer id | deposit id
        settlement id | settlement no | transfer ref | disbursement id | statement no | transfer number | batch id
        transfer | settlement | payout batch | deposit number | statement id | batch | transfer reference | remittance id
        settlement number | settlement ref | payout code
        auszahlung | auszahlungsnummer | auszahlungs nr | abrechnungsnummer | auszahlungs id | abrechnungs nr
        uberweisungsnummer | auszahlung nr | abrechnung | auszahlungsnr | auszahlungsreferenz | abrechnungsnr
        versement | numero de versement | reference du versement | virement | reference versement | n de versement
        numero versement | id versement | n versement | reference virement
        liquidacion | id de pago | numero de liquidacion | transferencia | n liquidacion | abono | id liquidacion
        referencia de pago | numero de transferencia
        accredito | numero accredito | id accredito | bonifico | versamento | n accredito | riferimento bonifico
        uitbetaling | uitbetalingsnummer | uitbetaling id | uitbetalingsnr | uitbetalingsreferentie
    """,
    "status": """
        status | state | order status | order state | fulfilment status | fulfillment status | sale status | stage
        transaction status | condition of order
        bestellstatus | zustand | auftragsstatus | verkaufsstatus
        statut | etat | statut de la commande | statut commande | etat commande
        estado | estado del pedido | estado pedido | situacion
        stato | stato ordine | stato dell ordine | orderstatus | stato vendita
        bestelstatus
    """,
    "type": """
        type | kind | transaction type | event | event type | entry type | activity | activity type | category
        transaction | record type | movement | movement type | type of transaction | what | what happened | booking type
        line type | row type | reason
        typ | art | vorgang | buchungsart | transaktionstyp | transaktionsart | vorgangsart | buchungstyp | umsatzart
        type d operation | operation | nature | mouvement | type de transaction | type operation | type de mouvement
        tipo | concepto | movimiento | tipo de operacion | tipo de movimiento | tipo de transaccion | operacion
        tipo operazione | causale | movimento | operazione | tipo transazione | tipo movimento | tipologia
        soort | transactietype | boekingstype | mutatiesoort | soort transactie | type transactie
    """,
    "detail": """
        detail | details | description | memo | narrative | amount description | text | particulars | remark | subject
        component | amount type | fee type | charge type | note to entry | purpose | reference text | amount kind
        beschreibung | verwendungszweck | buchungstext | betragsart | einzelheiten | zweck | betragstyp
        libelle | motif | intitule operation | libelle operation | detail operation | type de montant | description
        descripcion | detalle | concepto detalle | detalles | tipo de importe | observaciones
        descrizione | dettaglio | dettagli | tipo importo | causale descrizione | descrizione operazione
        omschrijving | mededeling | bedragsoort | toelichting | details boeking
    """,
    "event": """
        event id | transaction id | transaction no | id | reference | ref | entry id | txn id | activity id
        transaction number | transaction reference | record id | entry no | line id | movement id | event no | entry
        transaction code | reference id | own id | ledger id | row id | event number
        transaktionsnummer | transaktions id | vorgangsnummer | beleg | belegnummer | buchungsnummer | referenz
        vorgangs id | transaktionscode | belegnr | buchungs id
        numero de transaction | reference operation | n operation | identifiant | id transaction | n de transaction
        numero d operation | id operation | reference transaction
        numero de transaccion | id de transaccion | n operacion | id transaccion | numero de operacion | id movimiento
        id transazione | numero transazione | riferimento | id movimento | codice transazione | id operazione
        transactie id | referentie | transactienummer | transactie nummer | boekingsnummer | kenmerk
    """,
    "parent": """
        parent | parent id | parent transaction | refers to | related id | related transaction | linked to
        original id | original transaction | belongs to | reference transaction id | related to | linked id
        parent reference | parent event | ref of original | original reference | related reference
        bezug | bezugsvorgang | bezieht sich auf | zugehoriger vorgang | ursprung | ursprungsvorgang | gehort zu
        transaction d origine | operation liee | transaction liee | reference d origine | rattache a
        transaccion original | relacionado | referencia original | operacion relacionada | transaccion relacionada
        transazione originale | collegato a | riferimento originale | operazione collegata
        oorspronkelijke transactie | hoort bij | verwijst naar | gerelateerde transactie
    """,
    "amount": """
        amount | value | sum | transaction amount | amount net | signed amount | total amount | movement amount
        betrag | umsatz | buchungsbetrag | wert | transaktionsbetrag
        montant | somme | montant operation | valeur
        importe | monto | valor | cantidad de dinero | importe operacion
        importo | valore | somma | importo operazione
        bedrag | waarde | transactiebedrag
        cents | pence | amount in cents | amount cents | centimes | minor units
    """,
    "credit": """
        credit | money in | paid in | in | credits | deposits | deposit | credit amount | amount in | incoming
        received | inflow | money received
        haben | eingang | einnahme | gutschrift | gutschriften | einnahmen | zugang | eingange
        credit euros | recette | recettes | entree | entrees
        haber | abono | abonos | ingreso | ingresos | entrada | entradas
        avere | entrate | accrediti | entrata | dare avere credito | accredito importo
        bij | ontvangen | bijschrijving | inkomsten | credit bedrag | ontvangst
    """,
    "debit": """
        debit | money out | paid out amount | out | debits | withdrawals | withdrawal | debit amount | amount out
        outgoing | spent | outflow | money paid
        soll | ausgang | ausgabe | lastschrift | belastung | ausgaben | abgang | belastungen | ausgange
        debit euros | depense | depenses | sortie | sorties
        debe | cargo | cargos | gasto | gastos | salida | salidas
        dare | uscite | addebiti | uscita | addebito
        af | uitgegeven | afschrijving | uitgaven | debet
    """,
    "balance": """
        balance | running balance | balance after | account balance | closing balance | new balance | available balance
        saldo | kontostand | saldo danach | neuer saldo | saldo nach buchung
        solde | solde apres | nouveau solde | solde courant
        saldo posterior | saldo final | saldo disponible
        saldo contabile | saldo dopo | saldo progressivo | saldo finale
        saldo na | nieuw saldo | saldo na boeking
    """,
    "currency": """
        currency | currency code | ccy | curr | cur | amount currency | order currency | sale currency
        wahrung | wahrungscode | whg | waehrung
        devise | monnaie | code devise
        moneda | divisa | codigo de moneda
        valuta | divisa importo | codice valuta
        munt | valutacode | muntsoort
    """,
    "rate": """
        rate | fee rate | percent | percentage | tax rate | exchange rate | fx rate | commission rate | vat rate
        satz | prozent | steuersatz | wechselkurs | kurs | prozentsatz | gebuhrensatz | mwst satz
        taux | pourcentage | taux de change | taux tva | tipo de cambio | porcentaje | tasa | tasso | percentuale | cambio
        tarief | wisselkoers | percentage commissie
    """,
    "zone": """
        time zone | timezone | tz | zone | zeitzone | fuseau horaire | fuseau | zona horaria | fuso orario | fuso
        tijdzone
    """,
    "time": "time | uhrzeit | heure | hora | ora | tijd | zeit | tijdstip | order time of day | clock",
    "line": """
        line | line no | line number | row | row no | pos | position | line item id | item id | listing id | item no
        item number | zeile | nr | ligne | linea | riga | regel | lineitem id | order item id | order line | product id
        artikel id | position nr | listing no | id article | id articulo | id articolo
    """,
    "delivered": """
        delivered | delivered on | delivery date | date delivered | received on | received by buyer | arrived | arrived on
        due | due date | ship by | geliefert am | zugestellt am | lieferdatum | zustelldatum | livre le
        date de livraison | entregado el | fecha de entrega | consegnato il | data consegna | bezorgd op | leverdatum
        updated | updated on | updated at | last updated | modified | exported on | export date | geandert am
    """,
    PRIVATE: """
        buyer | buyer name | customer | customer name | name | first name | last name | full name | recipient
        email | e mail | buyer email | phone | telephone | mobile | address | street | address line | ship to
        address 1 | address 2 | city | town | zip | zip code | postcode | postal code | state or province | region
        country | ship to country | ship to name | note | notes | buyer note | message | comment | comments
        tracking | tracking number | tracking no | tracking code | carrier | username | user name | buyer username
        buyer id | counterparty | payer | customer id | customer email | ship to city | province | county | user
        gift message | seller note | carrier name | ship city | ship country | ship state | buyer country
        kaufer | kunde | kundenname | kaufername | vorname | nachname | strasse | plz | ort | land | telefon | anschrift
        adresse | bemerkung | notiz | nachricht | sendungsnummer | empfanger | auftraggeber | lieferadresse | lieferland
        mitgliedsname | zahlungsempfanger | stadt | hinweis | kaufer mitgliedsname | e mail adresse
        acheteur | client | nom | prenom | rue | ville | code postal | pays | telephone | courriel | commentaire
        destinataire | suivi | numero de suivi | message acheteur | nom du client | nom de l acheteur | pseudo
        comprador | cliente | nombre del comprador | direccion | calle | ciudad | pais | telefono | correo
        codigo postal | correo electronico | comentario | nota | destinatario | seguimiento | numero de seguimiento
        nombre del cliente | provincia | mensaje
        acquirente | nome | cognome | indirizzo | citta | cap | paese | nome acquirente | messaggio
        tracciamento | numero di tracciamento | nota acquirente | nome cliente
        koper | klant | naam | voornaam | achternaam | straat | postcode koper | plaats | adres | opmerking | bericht
        ontvanger | naam koper | klantnaam | telefoonnummer | volgnummer | tegenrekening | woonplaats
    """,
}

#: Words that say nothing about which column it is.
_EMPTY_WORDS = frozenset(
    "the a an your my of for on by from to at and with buyer customer charged amount order item der die das des vom "
    "von fur am im zum de la le les du des del el los las il lo di da per al van het een voor en et e y und".split(),
)
_CURRENCY = re.compile(r"\(?\b(?:USD|EUR|GBP|CHF|CAD|AUD|SEK|NOK|DKK|PLN|JPY|NZD|CZK|HUF)\b\)?|[$€£¥]")


def normalise(text: str) -> str:
    """Return a text as words in lower case, without accents, marks and currencies."""
    text = _CURRENCY.sub(" ", text)
    text = re.sub(r"(?<=[a-z\u00df-\u00ff])(?=[A-Z])", " ", text)
    plain = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(character for character in plain if not unicodedata.combining(character))
    return " ".join(re.findall(r"[^\W_]+", plain))


def compile_phrases(phrases: str) -> tuple[tuple[str, ...], ...]:
    """Return the phrases of a table, each as its words."""
    texts = (" ".join(phrase.split()) for line in phrases.splitlines() for phrase in line.split("|"))
    return tuple(tuple(text.split()) for text in dict.fromkeys(texts) if text)


_TABLE = {role: compile_phrases(phrases) for role, phrases in _PHRASES.items()}
ROLES = tuple(_TABLE)


@lru_cache(maxsize=20_000)
def meanings(heading: str) -> dict[str, float]:
    """Return what a heading may mean, with how well each fits: 1 when a phrase is the whole of it."""
    words = normalise(heading[:200]).split()
    scores = {}
    for role, phrases in _TABLE.items():
        best = max((fit(phrase, words) for phrase in phrases), default=0.0)
        if best > 0:
            scores[role] = best
    return scores


def fit(phrase: tuple[str, ...], words: list[str]) -> float:
    """Return how much of some words a phrase explains, 1 for all."""
    if len(phrase) > len(words):
        return 0.0
    total = sum(map(_weight, words))
    for start in range(len(words) - len(phrase) + 1):
        part = words[start : start + len(phrase)]
        if all(_same(pattern, word) for pattern, word in zip(phrase, part, strict=True)):
            share = sum(map(_weight, part)) / total
            if len(part) == len(words):
                # Part of a compound says less than the whole word does.
                return 0.9 if any("*" in pattern for pattern in phrase) else 1.0
            # What a longer phrase says is said more surely.
            return share * (0.72 + 0.06 * len(phrase))
    return 0.0


def _weight(word: str) -> float:
    return len(word) * (0.15 if word in _EMPTY_WORDS else 1.0)


def _same(pattern: str, word: str) -> bool:
    if "*" not in pattern:
        return pattern == word
    return word.endswith(pattern.lstrip("*"))
