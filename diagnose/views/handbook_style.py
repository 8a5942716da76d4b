"""How the handbook looks and how its search works: plain ink on paper, readable in grey print."""

STYLE = """
:root{--ink:#20282b;--soft:#5a666b;--line:#c8cfd2;--wash:#f2f4f3;--mark:#2d5d57;--care:#7a3b12}
*{box-sizing:border-box}
body{margin:0;color:var(--ink);background:#fff;font:16px/1.55 Georgia,"Times New Roman",serif}
nav,footer{background:var(--wash);padding:.6em 1.2em;font-family:sans-serif;font-size:.9rem;display:flex;gap:1em;
justify-content:space-between;align-items:center;flex-wrap:wrap}
footer{color:var(--soft);border-top:1px solid var(--line);margin-top:3em}
main{max-width:62rem;margin:0 auto;padding:1rem 1.2rem}
h1{font-size:1.9rem;line-height:1.2;margin:.2em 0 .5em}h1::first-letter{text-transform:uppercase}h2{font-size:1.15rem;margin:1.6em 0 .4em}h3{font-size:1rem;margin:.9em 0 .2em}
small{color:var(--soft);font-family:sans-serif;font-size:.78em;font-weight:normal}
a{color:var(--mark)}a:focus,input:focus,button:focus{outline:3px solid var(--mark);outline-offset:1px}
.lead{font-size:1.15rem}.kind{margin:0;font-family:sans-serif;font-size:.85rem}
.care{border:2px solid var(--care);border-left-width:.6em;padding:.2em 1em;margin:1em 0}.care h2{margin:.4em 0;color:var(--care)}
.care ul{margin:.4em 0;padding-left:1.1em}
table{border-collapse:collapse;margin:.6em 0;max-width:100%}caption{text-align:left;font-weight:bold;padding:.6em 0 .2em}
th,td{text-align:left;vertical-align:baseline;border-top:1px solid var(--line);padding:.28em .9em .28em 0;font-weight:normal}
tr:first-child>th{font-family:sans-serif;font-size:.8rem;color:var(--soft)}
.n{text-align:right}.bar{font-family:sans-serif;font-size:.82rem;white-space:nowrap}
.bar span{print-color-adjust:exact;display:inline-block;height:.75em;min-width:1px;border:1px solid var(--ink)}.bar .for{background:var(--ink)}.bar .against{background:#fff}
.tree{list-style:none;padding:0}.tree li{padding:.1em 0 .1em .9em;border-left:2px solid var(--line)}
.d1{margin-left:1.4em}.d2{margin-left:2.8em}.d3{margin-left:4.2em}.d4{margin-left:5.6em}
.chain{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.5em 0;align-items:center}
.chain li{border:1px solid var(--ink);padding:.25em .6em}.chain li.here{border-width:2px;font-weight:bold}
.chain li:not(:last-child){margin-right:2em;position:relative}.chain li:not(:last-child)::after{content:"\\2192";position:absolute;right:-1.5em;top:calc(50% - .8em)}
figure{margin:1em 0}.gallery{display:flex;flex-wrap:wrap;gap:1em}.gallery figure{margin:0;width:160px}figcaption{font-size:.85rem}svg{max-width:100%;height:auto}
.facts{display:grid;grid-template-columns:max-content 1fr;gap:.2em 1.2em}.facts dt,dl dt{font-weight:bold}.facts dd,dl dd{margin:0 0 .5em}
.columns{columns:17rem;column-gap:2rem}.group{break-inside:avoid}.group h3{margin:0}.beside{display:flex;flex-wrap:wrap;gap:0 4rem}.beside table{align-self:flex-start}.group ul{margin:.1em 0 .6em;padding-left:1.1em}
.search input{font:inherit;padding:.35em .6em;border:1px solid var(--soft);width:min(24rem,60vw)}main .search input{width:min(32rem,100%)}
.search button{font:inherit;padding:.35em .8em;border:1px solid var(--soft);background:#fff}
#hits:not(:empty){border-bottom:1px solid var(--line);margin-bottom:1em;padding-bottom:.6em}#hits p{margin:.35em 0}
.made{color:var(--soft);font-family:sans-serif;font-size:.8rem;margin-top:2em}details{margin-top:1.6em}
@media(max-width:640px){table.weights,.weights tbody,.weights tr,.weights td,.weights th{display:block;border:0;padding:.05em 0}
.weights tr:first-child{display:none}.weights tr{border-top:1px solid var(--line);padding:.4em 0}.weights td::before{content:attr(data-head) ": ";color:var(--soft);font-family:sans-serif;font-size:.8rem}
.facts{grid-template-columns:1fr}main{overflow-wrap:anywhere}}
@page{size:A4;margin:15mm}
@media print{nav,form,.search,footer,details,.ways{display:none}.gallery figure{width:38mm}.gallery figure svg{width:38mm}figure{break-inside:avoid}body{font-size:11pt}main{max-width:none;padding:0}a{color:inherit;text-decoration:none}
h2{break-after:avoid}tr,.care,.beside{break-inside:avoid}}
"""

SCRIPT = """
const box=document.getElementById('q'),hits=document.getElementById('hits'),rest=document.getElementById('contents');
function search(){
  const words=box.value.toLowerCase().split(/\\s+/).filter(Boolean);
  hits.replaceChildren();
  rest.hidden=words.length>0;
  if(!words.length)return;
  const found=[];
  for(const e of ENTRIES){
    const name=e.n.toLowerCase();
    if(words.every(w=>name.includes(w)||e.t.includes(w)))found.push([words.filter(w=>!name.includes(w)).length,e]);
  }
  found.sort((a,b)=>a[0]-b[0]||a[1].n.localeCompare(b[1].n));
  const count=document.createElement('p');
  count.textContent=found.length+(found.length===1?' page':' pages');
  hits.append(count);
  for(const [,e] of found.slice(0,80)){
    const p=document.createElement('p'),a=document.createElement('a'),s=document.createElement('small');
    a.href=e.u;a.textContent=e.n;s.textContent=' '+e.k;p.append(a,s);hits.append(p);
  }
}
box.addEventListener('input',search);
box.value=new URLSearchParams(location.search).get('q')||'';
search();
"""
