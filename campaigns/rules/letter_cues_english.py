"""How English letters say what the letter check looks for."""

from campaigns.rules.letter_cues import Cue, cues


_FAULT = "(defect*|fault*|problem*|flaw*|nonconform*|non conform*|issue*|concern*|condition*)"
_HARM = (
    "(accident*|crash*|injur*|incident*|collision*|fatalit*|death*|fire*|complaint*)"
)
_DANGER = "(danger*|hazard*|risk*|threat*|peril*)"
_OWNED = "(vehicle|car|truck|van|motorcycle|it)"
_JOB = "(repair*|remedy|work|service|fix|correction|replacement|part*|inspection)"

CUES: dict[str, tuple[Cue, ...]] = {
    "may_exist": cues(
        f"{_FAULT} ~3 (may|might|could) ~ (exist|be present|be there|be found)",
        f"(may|might|could) ~ (have|contain|exhibit|carry|suffer from|show) ~3 {_FAULT}",
        f"(possible|potential|suspected|alleged|apparent|supposed|so called|perceived"
        f"|claimed|presumed) ~1 {_FAULT}",
        f"{_FAULT} (is|are|was) ~1 (possible|potential|suspected|alleged|supposed)",
        "(may|might|could) ~1 be ~1 (defective|faulty|affected|involved|concerned"
        "|flawed|subject to)",
        f"there (may|might|could) be ~3 {_FAULT}",
        f"(whether|if) ~3 {_FAULT} ~1 (exists|is present|is there)",
        f"(perhaps|possibly|maybe|potentially) ~3 (defective|faulty|{_FAULT[1:-1]})",
        f"(suspect*|believe*|think*|suppose*) ~4 (may|might|could) ~ {_FAULT}",
    ),
    "may_exist_but": cues(
        "NOT ~2 (all|every|each|any one) ~5 (vehicle*|car*|truck*|unit*|one*)",
        "(some|certain|many) ~5 (may|might|will|do) not",
    ),
    "no_accidents": cues(
        f"(no|zero|NOT any|without any|NOT a single|NOT one) (known|reported"
        f"|confirmed|such|related|serious|actual|field|documented)? {_HARM}",
        f"NOT ~1 (aware|know*|learned|heard|hear|received|receive|had|have|seen"
        f"|recorded|been told) ~6 {_HARM}",
        f"{_HARM} ~3 NOT ~2 (been|reported|known|occurred|happened|taken|come)",
        f"{_HARM} ~3 (has|have|had|is|are|was|were) NOT",
        "(nobody|no one|no person|no owner|no driver|NOT anyone|NOT anybody) ~3 (hurt"
        "|injured|harmed|killed|complained|reported)",
        f"free of {_HARM}",
    ),
    "no_risk": cues(
        f"(is|are|be|poses?|pose|present*|has|have|of|represent*) (no|NOT a|NOT any"
        f"|little|minimal|negligible|hardly any) ~2 {_DANGER}",
        f"NOT ~1 (pose|present|create|mean|represent|involve|cause|constitute) ~3"
        f" {_DANGER}",
        f"(no|without|zero) ~1 (safety|immediate|real|actual|serious) ~1 {_DANGER}",
        "NOT ~2 (safety|dangerous|unsafe|hazardous|serious) (issue|matter|problem"
        "|concern|question|defect|hazard|risk)",
        "NOT ~2 (dangerous|unsafe|hazardous|unsound)",
        "NOT ~2 (cause|reason|need|grounds|call) ~2 (alarm|concern|worry|panic)",
        "NOT ~1 (worry|worried|alarmed|panic|concerned)",
        "NOT ~2 (affect|compromise|impair|reduce|concern) ~2 safety",
        "NOT ~3 (defect|defective) (in|that|which|at)",
        "NOT ~1 (relate|related) to ~2 safety",
    )
    + cues(
        f"{_OWNED} (is|remains|stays) (perfectly|completely|entirely|still|quite"
        f"|fully|absolutely)? safe",
        "(perfectly|completely|entirely|quite|absolutely|totally|fully) safe",
        "safe to (drive|use|operate|be driven|be used)",
        "(drive|use|driving|using) ~3 (safely|without worry|with confidence"
        "|as usual|as normal|as always)",
        "safety is assured",
        denied=False,
    ),
    "played_down": cues(
        "(abundance|excess) of caution",
        "(precaution|precautionary|purely preventive|preventive measure)",
        "(unlikely|improbable|remote|very rare*|extremely rare*|rare case*"
        "|rarely|isolated|low probability|slight chance|small chance|hardly ever)",
        "(voluntary|voluntarily)",
        "(goodwill|as a courtesy|courtesy measure|as a gesture)",
        "(merely|only|just|simply) (a|as a|an)? (formality|technicality|minor|routine)",
        "NOT ~1 (required|obliged|obligated|compelled) ~1 by ~1 law",
        "minor (defect|fault|problem|issue|matter|concern)",
    ),
    "expiry": cues(
        "(expire*|expiration|expiry)",
        "(offer|remedy|repair|campaign|recall|program*|work) ~3 (ends|end|closes"
        "|lapses|stops) ~3 DATE",
        "(free|valid|available|good|open|honored|honoured|performed|offered|done) ~5"
        " (until|till|through|up to|no later than|before) ~3 DATE",
        "(limited time|limited period|last chance|while supplies last|act now|hurry"
        "|before it is too late|time is running out)",
        "(deadline|closing date|cut off date|last day)",
        "(only|within|for) ~1 NUM (day*|month*|week*|year*|miles) ~2 (of|from|after)"
        " ~2 (this letter|this notice|the date|receipt|receiving|today)",
        "(until|up to|under|before|within|below) NUM miles",
        "(must|have to|need to) ~6 (by|before|no later than) ~2 DATE",
        "(after|from) DATE ~6 (charge*|pay|cost*|your expense|no longer)",
        "(no longer|NOT) ~1 (be|remain) ~1 (free|covered|available) ~3 (after|from)",
        denied=False,
    )
    + cues(
        "(no longer|NOT) ~2 (free|covered|paid) ~3 after",
    ),
    "safety_words": cues(
        "safety (recall*|defect*|campaign*|notice*|issue*|hazard*|matter*|act)",
        "(recall*|defect*|notice*|campaign*) ~3 (for|about|of|concerning|on) ~1 safety",
        "(relate*|relating|relevant|important) (to|for) ~3 safety",
        "safety (related|relevant|critical)",
        "motor vehicle safety",
        "(important|urgent) safety",
        "(nhtsa|traffic safety administration)",
        "(unsafe|danger to life|risk of (a)? (crash*|injur*|accident*|death))",
        denied=False,
    ),
    "recall_word": cues(
        "(this|a|the|your|our|free|open|vehicle|product|factory|important) recall*",
        "recall (notice|letter|campaign|number|repair*|work|is|of|on|for)",
        "recalled",
        "recalling",
        denied=False,
    ),
    "looks_official": cues(
        "important safety recall",
        "this notice applies to your (vehicle|car)",
        "(issued|sent|mailed) ~3 (in accordance with|under|pursuant to|required by) ~4"
        " (federal law|safety act|law)",
        "official (recall|safety|government|federal|vehicle|notice|notification) ~1"
        " (notice|notification|letter|document)?",
        "(final|last|second|urgent) (notice|warning)",
        "(on behalf of|authorized by|authorised by|approved by) ~1 (nhtsa|national"
        " highway|government|department|federal|united states)",
        denied=False,
    ),
    "label": cues(
        "safety recall notice",
        "(label|logo*|seal|emblem) ~3 (nhtsa|department of transportation|highway"
        " traffic)",
        "(nhtsa|department of transportation) ~3 (label|logo*|seal|emblem)",
        denied=False,
    ),
    "claims_decision": cues(
        f"(we|our store|our company|our dealership|our experts) (have|has)? (decided"
        f"|determined|found|established|concluded|discovered) ~6 {_FAULT}",
        "(we|our store|our dealership) (are|is|have|has)? (recalling|recalled"
        "|issued ~1 recall)",
        "our (safety recall|recall)",
        denied=False,
    ),
    "paid_work": cues(
        "(discount*|coupon*|voucher*|rebate*|promotion*|clearance)",
        "(% off|percent off|half price|special price*|special offer*|special rate*"
        "|great deal*|best price*|special deal*|bargain*)",
        "(oil change*|tire rotation|tyre rotation|wheel alignment|detailing|car wash"
        "|tune up|winter check|summer check|wiper blades|multi point inspection"
        "|air conditioning service|brake special|service package*|paint protection)",
        "(trade in|trade it in|financing|test drive|new model|newest model*"
        "|latest model*|lease offer*|purchase a new|buy a new|upgrade to|showroom)",
        "(extended warranty|service contract|maintenance plan|protection plan)",
        "(save|savings) ~2 (MONEY|NUM|money|on)",
        "(only|just|from|for|at) MONEY",
        "(gift card|free gift|prize|sweepstakes|raffle)",
        "(ask|talk|see|enquire|inquire) ~3 about ~3 (offers|specials|prices|deals"
        "|packages|accessories|upgrades)",
        "(other|additional|further) (paid|chargeable) (work|service*|repairs)",
        denied=False,
    ),
    "parts_here": cues(
        "(part*|kit*|component*) ~2 (are|is|have|has) ~2 (here|in stock|available"
        "|arrived|come in|on (our|the) shelf|ready|in our store|on hand|in hand)",
        "(have|has|hold|stock|keep) ~2 (part*|kit*) ~3 (here|in stock|available|ready"
        "|on (our|the) shelf|on hand)",
        "(part*|remedy|repair) ~1 (can be had|is available|are available)",
        "(they|it) (is|are|have|has) ~1 (here|in stock|arrived|come in)",
        denied=False,
    ),
    "parts_to_come": cues(
        "(part*|kit*|component*|remedy|repair|solution|fix) ~3 NOT ~1 (yet|here"
        "|available|arrived|ready|in stock|come)",
        "NOT ~3 (have|yet|received) ~2 (part*|kit*|remedy)",
        "(waiting for|expect*|awaiting|still to come|on (their|its|the) way|on order"
        "|not yet|no remedy yet|as soon as ~3 (available|arrive*|come*|here))",
        "(when|once) ~3 (part*|remedy|they|it) ~2 (available|arrive*|come*|here"
        "|ready|is|are)",
    ),
    "free": cues(
        "(no|without|free of|without any|at no|zero) ~1 (charge|cost|expense)",
        "NOT ~2 (charged|charge you|cost you|billed|bill)",
        "pay* nothing",
        "NOT ~1 pay ~1 (anything|a cent)",
        "costs? (you)? nothing",
    )
    + cues("(free|cost free|free repair)", denied=False),
    "maker_pays": cues(
        "(manufacturer|maker|factory|{maker}) ~4 (pay*|bear*|cover*|cost)",
        "(paid|covered|borne|cost) (for)? ~2 (by|of) ~2 (manufacturer|maker|factory"
        "|{maker})",
        "{maker} ~6 (at no|free of|without) ~1 (charge|cost)",
    ),
    "how_to_book": cues(
        "(call|phone|ring|contact|telephone|write to|reach|email|visit|text) ~5 (us"
        "|{store_name}|store|dealer*|{store_phone}|workshop|your)",
        "(call|phone|ring|contact) ~8 (appointment|book|arrange|schedule|date|day)",
        "(book|arrange|schedule|make) ~3 (appointment|day|date|visit|time)",
    ),
    "look_up": cues(
        "(look up|check|enter|search|lookup|type) ~5 (vin|vehicle identification)",
        "(vin|recall) (look up|lookup|search|check)",
        "nhtsa gov",
        "(vehicle identification number|vin) ~8 (website|online|page|look up|tool)",
    ),
    "own_letter": cues(
        "this (letter|reminder|message) (is|comes) ~2 from",
        "NOT ~3 (notice|letter|notification) ~2 (of|from|by) ~2 (manufacturer|maker"
        "|{maker})",
        "(notice|letter) ~4 (comes|come|came|sent|follows|reaches) ~5 (manufacturer"
        "|maker|{maker})",
        "we (are|as) ~4 (store|dealer*|workshop|garage)",
        "(your|our) (store|dealer*|dealership) ~4 (writes|reminds|sends)",
    ),
    "heading": cues("important safety recall"),
    "applies": cues(
        "this (notice|letter) (applies|refers|relates|pertains) to your (vehicle|car)"
    ),
    "opening": cues(
        "(in accordance with|under|as required by|pursuant to|required under) ~4"
        " (safety act|motor vehicle safety act)",
    ),
    "decision": cues(
        "(decided|determined|concluded) ~2 ~2 defect* ~2 (relate*|relating) to ~1"
        " motor vehicle safety ~1 exist*",
        "NOT? (fail*|conform*|comply|complies) ~3 (conform|to|with) ~2 (federal motor"
        " vehicle safety standard*|fmvss)",
    ),
    "defect": cues(
        "(defect*|nonconform*|noncompliance|fail* to (conform|comply)|not conform)",
    ),
    "risk": cues(
        "(crash*|injur*|accident*|fire*|collision*|loss of (control|steering|braking"
        "|power)|death|burn*|hazard*|danger*|harm*|hurt*|stall*|fall*)",
        "risk* ~2 (of|for|to)",
    ),
    "remedy": cues(
        "(repair*|replac*|correct*|fix*|inspect*|adjust*|install*|refund*|remed*"
        "|put right|update*|exchange*)",
    ),
    "available_from": cues(
        "(part*|remedy|repair*|work|appointment*|store*|dealer*|available|had"
        "|ready|begin*|start*) ~5 (DATE|now|today|immediately|at once)",
        "(DATE|now|today|at once|immediately) ~5 (part*|remedy|repair*|available"
        "|ready|done)",
    ),
    "complaint": cues(
        "(administrator|secretary|national highway traffic safety administration"
        "|nhtsa|department of transportation)",
    ),
    "complaint_post": cues("(washington|20590|new jersey avenue)"),
    "complaint_phone": cues("(hotline|toll free|toll free number|888 327 4236)"),
    "complaint_tty": cues("(tty|teletypewriter|relay service)"),
    "complaint_web": cues("(nhtsa gov|safercar gov|website|web site|online|internet)"),
    "reasonable_time": cues(
        "(60|sixty) days", "(reasonable|unreasonable) (time|period|delay)"
    ),
    "time_needed": cues(
        "(take*|need*|require*|last*|about) ~3 (NUM|an|a|half|one|two|few) ~1 (hour*"
        "|minute*|day*)",
        "how long",
        "(hour*|minute*) ~3 (work|labor|labour|repair|needed)",
    ),
    "paid_before": cues(
        "(reimburse*|repaid|repay*|refund*|paid back|money back)",
        "(already|previously|before) ~3 (paid|had)",
    ),
    "lessor": cues(
        "(lessor*|lessee*|leas*|rented) ~14 (forward|pass|send|copy|give)",
        "(forward|pass|send) ~8 (lessee*|lessor*)",
    ),
    "no_remedy_yet": cues(
        "(remedy|repair|part*|solution|fix) ~4 NOT ~2 (yet|available|ready|here)",
        "NOT ~2 (remedy|repair|part*|solution) ~2 (yet|available)",
        "(not yet|being (developed|prepared|made))",
    ),
    "second_letter": cues(
        "(write|send|notify|inform|tell|mail|contact|hear) ~6 (again|second|another"
        "|further|as soon as|once|when)",
        "(second|another|further) (letter|notice|mailing)",
    ),
    "emissions_exceed": cues(
        "(emission*|pollut*|exhaust|pollution) ~8 (limit*|standard*|law|allow*|rules"
        "|more|exceed*|above)",
        "(exceed*|above|more than|over) ~6 (emission*|pollut*|standard*)",
    ),
    "if_sold": cues(
        "(sold|no longer (own|have)|transferred|new owner|given away)",
    ),
    "inspection": cues(
        "(inspection|registration|register*|smog|emissions test*|proof of correction"
        "|certificate)",
    ),
}
