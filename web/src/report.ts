import './look/report.css';
document.documentElement.classList.add('scripted');
