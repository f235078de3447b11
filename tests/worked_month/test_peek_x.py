import json, pytest
from tests.worked_month import month as m, raw, recount
@pytest.mark.django_db
def test_t(monkeypatch):
    monkeypatch.setattr(m,"WORKING_DAYS",1)
    mo=m.played_month(); rows=raw.raw_rows()
    b=rows["batches"][0]
    print("REQ",list(b["plan"]["request"]), json.dumps(b["plan"]["request"]["recipe"])[:1200])
    st=[s for s in b["plan"]["steps"] if s["chemical"]][0]
    print("FIG",{k:(v["value"] if isinstance(v,dict) else v) for k,v in (st["figures"].items() if isinstance(st["figures"],dict) else [(f["key"],f) for f in st["figures"]])})
    print("CAP",b["resin_type__operating_capacity_eq_per_m3"],b["resin_volume_m3"])
    print("ENT",[e for e in rows["entries"] if e["key"]=="stock_drawn"])
    print("MOV",[(x["chemical"],x["grams_100"],x["reference"],x["lot__code"]) for x in rows["movements"]])
    print("CNT",rows["counts"])
    print("CHK",rows["checks"])
    assert 0
